"""Compiling: the numbers are right, frozen and the same for the same sources; the cache can be lost, not wrong."""

import os
import re
import subprocess
import sys
from pathlib import Path

import msgspec
import numpy as np
import pytest
from small_knowledge import HERE, SMALL, spoil

from symptomtree.kb import compile as compiling
from symptomtree.kb import scale
from symptomtree.kb.compile import Faulty, KnowledgeBase, open_knowledge
from symptomtree.kb.load import digest_of
from symptomtree.kb.model import Entries
from symptomtree.kb.shipped import shipped

ARRAYS = ("prior", "reach", "leak")


@pytest.fixture
def cache(tmp_path, monkeypatch) -> Path:
    """A cache folder of this test's own."""
    folder = tmp_path / "cache"
    monkeypatch.setattr(compiling, "user_cache_path", lambda name: folder / name)
    return folder / "symptomtree"


@pytest.fixture
def small(tmp_path) -> Path:
    """A folder with the small knowledge."""
    folder = tmp_path / "knowledge"
    folder.mkdir()
    (folder / "small.yaml").write_text(SMALL)
    return folder


def same(a: KnowledgeBase, b: KnowledgeBase) -> bool:
    ids = (a.cause_ids, a.finding_ids, a.digest) == (b.cause_ids, b.finding_ids, b.digest)
    return ids and all(getattr(a, name).tobytes() == getattr(b, name).tobytes() for name in ARRAYS)


@pytest.mark.parametrize("name", ["small", "shipped"])
def test_the_numbers_are_whole(name, small, cache):
    """Ids sorted; chances strictly inside 0 and 1; cumulative tables rise to 1; nothing can be written to."""
    kb = open_knowledge(small if name == "small" else shipped("knowledge"))
    assert list(kb.cause_ids) == sorted(kb.entries.causes)
    assert list(kb.finding_ids) == sorted(kb.findings)
    assert kb.reach.shape == (len(kb.cause_ids), len(kb.finding_ids), kb.leak.shape[1])
    assert ((kb.prior > 0) & (kb.prior < 1)).all()
    for table in (kb.reach, kb.leak):
        assert (np.diff(table) >= 0).all()
        assert (table[..., -1] == 1).all()
    for column, finding in enumerate(kb.finding_ids):
        worst = len(kb.grades(finding)) - 1
        assert (kb.reach[:, column, worst:] == 1).all()
        assert (np.diff(kb.leak[column, : worst + 1]) > 0).all(), "each grade can come by itself"
        untouched = [n for n, cause in enumerate(kb.cause_ids) if finding not in kb.entries.causes[cause].shows]
        assert (kb.reach[untouched, column] == 1).all()
    for array in (getattr(kb, name) for name in ARRAYS):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0.5


def test_words_become_their_numbers(small, cache):
    """'At least this' becomes 'at most the one below'; chances from ICD 203 (2015) and the SmPC guideline (2009)."""
    kb = open_knowledge(small)
    glazed, worn = kb.row["glazed"], kb.row["worn"]
    assert kb.prior[glazed] == pytest.approx(np.sqrt(0.01 * 0.1), abs=1e-6)  # 'common': 1/100 to 1/10
    assert kb.prior[worn] == 0.05
    likely, unlikely = (0.55 + 0.80) / 2, (0.20 + 0.45) / 2
    assert kb.reach[glazed, kb.column["squeal"]] == pytest.approx([1 - likely, 1 - unlikely, 1])
    assert kb.reach[worn, kb.column["weak"]] == pytest.approx([1 - likely, 1, 1])
    assert kb.leak[kb.column["shine"]] == pytest.approx([0.99, 1, 1])
    rows, factor = kb.changed_by["weather"]
    assert rows.tolist() == [glazed]
    assert factor["wet"] == pytest.approx(1 / 3)
    assert factor["dry"] == pytest.approx(scale.ODDS_FACTOR["small"])
    assert "weather" not in kb.needed_by


def test_a_grade_left_out_takes_the_next_ones_chance():
    """'{gone: likely}' alone says that a thin lining is at least as likely."""
    grades = ["good", "thin", "gone"]
    assert compiling.cumulative({"gone": "likely"}, grades, 4) == pytest.approx([0.325, 0.325, 1, 1])
    assert compiling.cumulative({"thin": "likely"}, grades, 4) == pytest.approx([0.325, 1, 1, 1])


def test_a_cause_needs_what_its_parts_need(small, cache):
    """`applies-to` of a part holds for the causes of it and of all parts inside it, together with their own."""
    text = SMALL.replace(
        "brake: {name: brake, inside: bike}", "brake: {name: brake, inside: bike, applies-to: {weather: [dry]}}"
    )
    text = text.replace("danger: none", "danger: none\n    applies-to: {kind: [drum, rim]}")
    (small / "small.yaml").write_text(text)
    kb = open_knowledge(small)
    assert kb.needs["glazed"] == {"kind": {"drum"}, "weather": {"dry"}}
    assert kb.needs["worn"] == {"kind": {"disc", "drum"}, "weather": {"dry"}}
    rows, allowed = kb.needed_by["kind"]
    glazed = rows.tolist().index(kb.row["glazed"])
    assert [allowed[value][glazed] for value in ("disc", "drum", "rim")] == [0, 1, 0]


def test_equal_sources_compile_to_equal_bytes(small, cache):
    """Whatever order the entries stand in, in however many files, under any hash seed."""
    kb = open_knowledge(small)
    parts = re.split(r"(?m)^(?=[a-z])", SMALL)[1:]  # one section each
    other = small.parent / "other"
    other.mkdir()
    for n, part in enumerate(reversed(parts)):
        (other / f"{n:02}.yaml").write_text(part)
    again = open_knowledge(other)
    assert again.digest != kb.digest
    assert all(getattr(kb, name).tobytes() == getattr(again, name).tobytes() for name in ARRAYS)
    code = (
        "import sys; from pathlib import Path; from symptomtree.kb.compile import open_knowledge as o; import hashlib;"
        "k = o(Path(sys.argv[1]));"
        "print(hashlib.sha256(k.prior.tobytes() + k.reach.tobytes() + k.leak.tobytes() + repr(k.needs['worn'].keys())"
        ".encode()).hexdigest())"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", code, str(small)],
            env={**os.environ, "PYTHONHASHSEED": seed, "XDG_CACHE_HOME": str(small.parent / f"cache-{seed}")},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(told) == 1


def test_a_digest_names_exactly_these_bytes_under_these_names():
    """Any other byte, name or cut between files is another digest."""
    files = {"a.yaml": b"ab", "b.yaml": b"c"}
    others = [
        {"a.yaml": b"ab"},
        {"a.yaml": b"a", "b.yaml": b"bc"},
        {"a.yaml": b"ab", "c.yaml": b"c"},
        {"a.yaml": b"ab", "b.yaml": b"C"},
    ]
    assert digest_of(dict(reversed(files.items()))) == digest_of(files)
    assert len({digest_of(f) for f in (files, *others)}) == 5


# --- the cache


def test_the_cache_gives_what_the_sources_give(cache, monkeypatch):
    """A second start reads one file and no YAML, and knows the same."""
    first = open_knowledge()
    assert len(list(cache.iterdir())) == 1
    monkeypatch.setattr(compiling, "read", None)
    second = open_knowledge()
    assert same(first, second)
    assert first.entries == second.entries


def test_entries_survive_the_way_through_the_cache(small, cache):
    """Numbers with their source, words and mappings stay apart."""
    entries = open_knowledge(small).entries
    assert msgspec.msgpack.decode(msgspec.msgpack.encode(entries), type=Entries) == entries


def test_changed_sources_are_read_again(small, cache):
    """The cache is under the digest of the sources."""
    before = open_knowledge(small)
    (small / "small.yaml").write_text(SMALL.replace("p: 0.05", "p: 0.06"))
    after = open_knowledge(small)
    assert (before.prior[before.row["worn"]], after.prior[after.row["worn"]]) == (0.05, 0.06)
    assert len(list(cache.iterdir())) == 2


def test_a_damaged_cache_is_made_anew(small, cache):
    """Cut off, empty, or with one byte changed anywhere: never believed."""
    kb = open_knowledge(small)
    (file,) = cache.iterdir()
    whole = file.read_bytes()
    damaged = [b"", whole[:20], whole[:-1], whole + b"x", b"\x80" * len(whole)]
    damaged += [whole[:n] + bytes([whole[n] ^ 1]) + whole[n + 1 :] for n in range(0, len(whole), len(whole) // 40)]
    for content in damaged:
        file.write_bytes(content)
        assert same(open_knowledge(small), kb)
        assert file.read_bytes() == whole


def test_a_cache_that_cannot_be_written_is_only_slower(small, cache):
    """A file stands where the folder should be; then a folder where the file should be."""
    cache.parent.mkdir()
    cache.write_text("in the way")
    kb = open_knowledge(small)
    assert cache.read_text() == "in the way"
    cache.unlink()
    open_knowledge(small)
    (file,) = cache.iterdir()
    file.unlink()
    file.mkdir()
    assert same(open_knowledge(small), kb)
    assert list(cache.iterdir()) == [file], "nothing half written is left"


def test_faulty_knowledge_is_not_compiled_nor_kept(small, cache):
    """All its problems come with the refusal."""
    text, place = spoil(("", "danger: none", f"danger: {HERE}no"), ("fixes:\n", "works: likely", "works: so"))
    (small / "small.yaml").write_text(text)
    with pytest.raises(Faulty) as refusal:
        open_knowledge(small)
    assert [p.code for p in refusal.value.problems] == ["K108", "K302"]
    assert str(refusal.value).startswith(f"{small}/small.yaml:{place}: K108 ")
    assert not cache.exists()
