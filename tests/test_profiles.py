"""Whose time and money it is: presets, files, and what follows for the price of work."""

from pathlib import Path

import pytest

from symptomtree.cases.model import Answer, Context
from symptomtree.kb.compile import KnowledgeBase, open_knowledge
from symptomtree.plain import show
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.costs import Profile, price_of
from symptomtree.reasoning.profiles import PRESETS, BadProfile, profile_named


@pytest.fixture(scope="module")
def kb() -> KnowledgeBase:
    return open_knowledge()


def test_presets_know_their_tools(kb: KnowledgeBase) -> None:
    """Every tool that a preset owns is one that the knowledge knows."""
    for profile in PRESETS.values():
        assert (profile.tools or frozenset()) <= kb.entries.tools.keys()


def test_a_file_changes_what_it_names(kb: KnowledgeBase, tmp_path: Path) -> None:
    """Free time, own tools and a currency label; the rest is as the preset has it."""
    path = tmp_path / "me.yaml"
    path.write_text("like: home-rider\nhourly-rate: 0\ntools: [hex-keys, caliper]\ncurrency: crowns\n")
    profile = profile_named(str(path), kb)
    assert profile == Profile(0.0, 30.0, "rider", frozenset({"hex-keys", "caliper"}), 1, "crowns")


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("hourly-rat: 3\n", "1:1: K104 unknown key 'hourly-rat'; did you mean 'hourly-rate'?"),
        ("hourly-rate: lots\n", "1:14: K108"),
        ("skill: wizard\n", "1:8: K108"),
        ("tools: [hex-key]\n", "1:9: P201 no tool 'hex-key'; did you mean 'hex-keys'?"),
        ("", "1:1: K003 the file is empty"),
    ],
)
def test_a_bad_file_says_where_and_what(kb: KnowledgeBase, tmp_path: Path, text: str, want: str) -> None:
    """Position, code, and the nearest right word."""
    path = tmp_path / "me.yaml"
    path.write_text(text)
    with pytest.raises(BadProfile, match=r"me\.yaml") as told:
        profile_named(str(path), kb)
    assert want in str(told.value)


def test_an_unknown_preset_names_the_nearest(kb: KnowledgeBase) -> None:
    """A misspelt name is no file."""
    with pytest.raises(BadProfile, match="did you mean 'home-rider'"):
        profile_named("home-ridder", kb)


def test_work_beyond_tools_or_skill_costs_a_hand_over(kb: KnowledgeBase) -> None:
    """Owning a tool never makes work dearer, and free time never makes it free of effort."""
    own = Profile(per_minute=0.0, hand_over=500.0, tools=frozenset(kb.entries.tools))
    lack = Profile(per_minute=0.0, hand_over=500.0, tools=frozenset())
    for fix in kb.entries.fixes.values():
        assert 0 < price_of(kb, fix, own) <= price_of(kb, fix, lack)


@pytest.mark.parametrize("name", PRESETS)
def test_no_preset_gives_up_before_it_has_asked(kb: KnowledgeBase, name: str) -> None:
    """A howling brake with a long lever is looked at first, whoever looks."""
    told = [Answer(finding="brake-noise", grade="howl"), Answer(finding="lever-travel", grade="to-bar")]
    assert Adviser(kb).assess(told, PRESETS[name]).steps[0].doing != "hand-over"
    typed = [*told, Context(fact="brake-type", value="hydraulic-disc")]
    assert Adviser(kb).assess(typed, PRESETS[name]).steps[0].doing != "hand-over"


def test_the_label_of_the_money_is_read_where_money_is(kb: KnowledgeBase) -> None:
    """Figures behind a step are in what the profile calls its money, cleaned like any text of a file."""
    told = [Answer(finding="brake-noise", grade="howl"), Context(fact="brake-type", value="rim")]
    a = Adviser(kb).assess(told, Profile(currency="crowns\x07"))
    assert "in crowns:" in list(show.numbers(a, a.steps[0]))[-1]
