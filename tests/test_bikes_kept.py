"""Bikes that are kept: what stays true of them need not be told again."""

from pathlib import Path

from symptomtree.cases.bikes import Bike, keep_bike, lasting, read_bikes
from symptomtree.kb.compile import open_knowledge

KB = open_knowledge()


def test_a_bike_comes_back_as_it_was_kept(tmp_path: Path):
    """Whatever its name; one of the same name is replaced, and names that differ in signs only stay one file."""
    for name in ("The blue one", "../../etc/passwd", "日本", "a" * 300):
        bike = Bike(symptomtree_bike=1, name=name, facts={"brake-type": "rim"})
        path = keep_bike(tmp_path / "bikes", bike)
        assert path.parent == tmp_path / "bikes"
        keep_bike(tmp_path / "bikes", bike)
        assert bike in read_bikes(tmp_path / "bikes")[0]
    assert len(list((tmp_path / "bikes").iterdir())) == 4


def test_a_spoilt_file_is_told_and_the_others_are_read(tmp_path: Path):
    keep_bike(tmp_path, Bike(symptomtree_bike=1, name="good"))
    (tmp_path / "bad.yaml").write_text("symptomtree-bike: 1\nname: [x\n")
    (tmp_path / "odd.yaml").write_text("symptomtree-bike: 1\nname: odd\ncolour: red\n")
    bikes, messages = read_bikes(tmp_path)
    assert [b.name for b in bikes] == ["good"]
    assert len(messages) == 2
    assert all(":" in m and ("bad.yaml" in m or "odd.yaml" in m) for m in messages)
    assert read_bikes(tmp_path / "none") == ([], [])


def test_only_what_stays_true_of_a_bike_is_kept():
    """What was just done, the weather, and which end squeals today are not the bike's."""
    facts = {"brake-type": "rim", "just-crashed": "yes", "wet-lately": "yes", "which-end": "rear", "gone": "x"}
    assert lasting(KB, facts) == {"brake-type": "rim"}
    assert lasting(KB, {"brake-type": "steam"}) == {}
