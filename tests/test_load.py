"""Reading knowledge: every problem with its place, in one run, whatever a file holds; and never a traceback."""

import json
import os
import random
import stat
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_knowledge import HERE, SMALL, placed, spoil

from symptomtree.cases.model import Case
from symptomtree.cli import main
from symptomtree.kb.compile import compile_entries
from symptomtree.kb.load import MAX_FILES, Unreadable, files_of, read, read_bytes
from symptomtree.kb.nodes import MAX_BYTES, MAX_DEPTH, MAX_NODES, MISSING, Builder, Problem, compose
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vet import vet

ROOT = "symptoms:\n  squeal:\n    "
SYMPTOM = "part: bike\n    name: a squeal\n    ask: Does it?\n    grades: {no: no, yes: yes}\n    leak: likely\n"
"""Marked texts below end in this where they spoil something before it."""


def told(content: bytes | str, name: str = "k.yaml") -> list[str]:
    """Return what reading one file tells."""
    return [str(p) for p in read({name: content.encode() if isinstance(content, str) else content}).problems]


def test_what_ships_reads_clean_and_from_everywhere():
    """Every file of the knowledge is read; positions name the folder as it was given."""
    files = read_bytes(shipped("knowledge"))
    draft = read(files, shipped("knowledge"))
    assert not draft.problems
    assert len(files) == len(list(shipped("knowledge").rglob("*.yaml")))
    assert all(str(place).startswith(f"{shipped('knowledge')}/") for place in draft.places.values())


@pytest.mark.parametrize(
    ("code", "says", "marked"),
    [
        # the file
        ("K002", "control character U+001B; delete it", f"parts:\n  bike: {{name: a{HERE}\x1b[31mred}}"),
        ("K002", "control character U+0000; delete it", f"parts: {HERE}\x00"),
        ("K002", "control character U+202E; delete it", f"parts:\n  bike: {{name: a{HERE}\u202eb}}"),
        ("K002", "control character U+2066; delete it", f"{HERE}\u2066parts: x"),
        ("K002", "control character U+009B; delete it", f"a:\n\n b: {HERE}\x9b"),
        ("K002", "an escape makes control character U+001B", f'parts:\n  bike: {{name: {HERE}"a\\e[31m"}}'),
        ("K002", "an escape makes control character U+202E", f'parts: {{{HERE}"\\u202e": x}}'),
        ("K002", "an escape makes control character U+000D", f'parts:\n  bike: {{name: {HERE}"over\\rwritten"}}'),
        ("K003", "the file is empty", f"{HERE}"),
        ("K003", "the file is empty", f"{HERE}# only words\n"),
        ("K003", "not readable as YAML: ", f"parts:\n  bike: {{name: bike\n{HERE}"),
        ("K003", "not readable as YAML: ", f"parts: [a, {HERE}}}"),
        ("K003", "not readable as YAML: ", f"parts: {{}}\n{HERE}---\nfacts: {{}}\n"),
        ("K003", "not readable as YAML: ", f"parts:\n{HERE}\tbike: x"),
        ("K004", "an alias (*name); write the value out", f"parts:\n  a: &a {{name: a}}\n  b: {HERE}*a\n"),
        ("K004", "a tag (!name); leave it out", f"parts:\n  a: {{name: {HERE}!!python/object/apply:os.system [ls]}}\n"),
        ("K004", "a tag (!name); leave it out", f"parts:\n  a: {HERE}!!python/object:os.x {{name: a}}\n"),
        ("K004", "a tag (!name); leave it out", f"parts:\n  a: {{name: {HERE}!!binary aGk=}}\n"),
        ("K004", f"nested more than {MAX_DEPTH} deep", "[" * MAX_DEPTH + HERE + "[" * 500),
        ("K004", f"nested more than {MAX_DEPTH} deep", "{a: " * MAX_DEPTH + HERE + "{a: " * 1000),
        # shapes
        ("K101", "a key must be plain text", f"parts:\n  {HERE}[a, b]: {{name: x}}\n"),
        ("K101", "a key must be plain text", f"parts:\n  ? {HERE}{{a: b}}\n  : {{name: x}}\n"),
        ("K102", "'name' is already given on line 2", f"parts:\n  bike: {{name: bike, {HERE}name: bike}}\n"),
        ("K102", "'bike' is already given on line 2", f"parts:\n  bike: {{name: a}}\n  {HERE}bike: {{name: b}}\n"),
        ("K102", "'parts' is already given on line 1", f"parts:\n  a: {{name: a}}\n{HERE}parts:\n  b: {{name: b}}\n"),
        ("K103", "expected sections (parts, facts,", f"{HERE}- parts\n- facts\n"),
        ("K103", "expected sections (parts, facts,", f"{HERE}parts\n"),
        ("K103", "expected 'id: entry' pairs under 'parts'", f"parts: {HERE}[bike]\n"),
        ("K103", "expected 'id: entry' pairs under 'parts'", f"parts:{HERE}\nfacts: {{}}\n"),
        ("K103", "expected 'key: value' pairs (name, inside,", f"parts:\n  bike: {HERE}bike\n"),
        ("K103", "expected a list", ROOT + f"how: {HERE}look\n    " + SYMPTOM),
        ("K103", "expected a list", ROOT + f"how: {HERE}{{look: up}}\n    " + SYMPTOM),
        ("K103", "expected 'key: value' pairs", ROOT + f"says: {HERE}[loud]\n    " + SYMPTOM),
        ("K103", "expected text", f"parts:\n  bike: {{name: {HERE}[bike]}}\n"),
        ("K103", "expected text", f"parts:\n  bike: {{name: {HERE}{{a: b}}}}\n"),
        ("K103", "expected text, or mind and do; a text with", f"fixes:\n  x: {{steps: [{HERE}{{Turn it: now.}}]}}\n"),
        ("K103", "expected text", f"checks:\n  x: {{how: [{HERE}[Look.]]}}\n"),
        ("K104", "unknown key 'mnid'; did you mean 'mind'?", f"fixes:\n  x: {{steps: [{{{HERE}mnid: A., do: B.}}]}}\n"),
        ("K105", "'do' is missing", f"checks:\n  x: {{how: [Look., {HERE}{{mind: A.}}]}}\n"),
        ("K105", "'mind' is missing", f"checks:\n  x: {{how: [{HERE}{{do: A.}}]}}\n"),
        ("K108", "expected text, got ''", f"fixes:\n  x: {{steps: [{{mind: {HERE}'', do: B.}}]}}\n"),
        ("K103", "expected a number", ROOT + f"minutes: {HERE}[1]\n    " + SYMPTOM),
        ("K104", "unknown section 'prats'; did you mean 'parts'?", f"{HERE}prats: {{}}\n"),
        ("K104", "unknown key 'nmae'; did you mean 'name'?", f"parts:\n  bike: {{name: bike, {HERE}nmae: b}}\n"),
        ("K104", "unknown key 'applies_to'; did you mean 'applies-to'?", ROOT + f"{HERE}applies_to: x\n    " + SYMPTOM),
        ("K104", "unknown key '<<'", f"parts:\n  bike: {{name: bike, {HERE}<<: {{inside: x}}}}\n"),
        ("K105", "'name' is missing in 'bike'", f"parts:\n  bike: {HERE}{{inside: x}}\n"),
        ("K105", "'grades' is missing in 'squeal'", ROOT + f"{HERE}" + SYMPTOM.replace("grades", "gradez")),
        ("K107", "needs at least 2, has 1", ROOT + SYMPTOM.replace("{no: no, yes: yes}", f"{HERE}{{no: no}}")),
        ("K108", "expected a number, got 'soon'", ROOT + f"minutes: {HERE}soon\n    " + SYMPTOM),
        ("K108", "expected a number, got '1,5'", ROOT + f"minutes: {HERE}1,5\n    " + SYMPTOM),
        ("K108", "expected a number, got '-1' (float >= 0.0)", ROOT + f"minutes: {HERE}-1\n    " + SYMPTOM),
        ("K108", "expected a number, got '.nan'", ROOT + f"minutes: {HERE}.nan\n    " + SYMPTOM),
        ("K108", "expected a number, got 'nan'", ROOT + f"minutes: {HERE}nan\n    " + SYMPTOM),
        ("K108", "expected a number, got 'inf'", ROOT + f"minutes: {HERE}inf\n    " + SYMPTOM),
        ("K108", "expected a number, got '1e999'", ROOT + f"minutes: {HERE}1e999\n    " + SYMPTOM),
        ("K108", f"expected a number, got '{'9' * 57}...'", ROOT + f"minutes: {HERE}{'9' * 9000}\n    " + SYMPTOM),
        ("K108", "got nothing; give a value or drop the key", ROOT + f"minutes: {HERE}null\n    " + SYMPTOM),
        ("K108", "got nothing; give a value or drop the key", f"parts:\n  bike: {{name: {HERE}~}}\n"),
        ("K108", "got nothing; give a value or drop the key", f"parts:\n  bike:\n    inside:{HERE}\n    name: bike\n"),
        ("K108", "expected text, got '' (str of length >= 1)", f"parts:\n  bike: {{name: {HERE}''}}\n"),
        ("K108", "(str of length <= 1200)", f"parts:\n  bike: {{name: {HERE}{'very ' * 500}long}}\n"),
        ("K108", "'Big Bike' is not an id", ROOT + SYMPTOM.replace("bike", f"{HERE}Big Bike")),
        ("K108", "is none of none, care, stop; did you mean 'care'?", f"causes:\n  x: {{danger: {HERE}car}}\n"),
        ("K108", "expected yes or no, got 'maybe'", f"fixes:\n  x: {{reversible: {HERE}maybe}}\n"),
        ("K110", "id 'a' is already taken at k.yaml:2:3", f"parts:\n  a: {{name: a}}\ntools:\n  {HERE}a: {{}}\n"),
    ],
)  # fmt: skip
def test_each_slip_is_told_at_its_place(code, says, marked):
    """Its code, `path:line:column`, and words that help."""
    text, place = placed(marked)
    found = told(text)
    assert any(line.startswith(f"k.yaml:{place}: {code} ") and says in line for line in found), found


def test_text_is_text_and_numbers_are_numbers():
    """Scalars are read as what the key wants: YAML's `no` and `12` are words where words belong."""
    text = "parts:\n  bike: {name: no}\n  b-12: {name: 12, about: 0x1f}\n" + ROOT + SYMPTOM + "    minutes: 1\n"
    draft = read({"k.yaml": text.encode()})
    assert not draft.problems
    assert draft.entries.parts["bike"].name == "no"
    assert (draft.entries.parts["b-12"].name, draft.entries.parts["b-12"].about) == ("12", "0x1f")
    assert draft.entries.symptoms["squeal"].minutes == 1.0
    assert list(draft.entries.symptoms["squeal"].grades) == ["no", "yes"]


def test_a_span_has_two_ends():
    """A list that is too long is a problem of its own."""
    text, place = spoil(("", "span: [0, 9]", f"span: {HERE}[0, 5, 9]"))
    assert [str(p) for p in vet(read({"k.yaml": text.encode()}))] == [f"k.yaml:{place}: K107 takes at most 2, has 3"]


def test_a_kind_that_is_not_there_or_not_known():
    """An event of a case says what it is."""
    for kind, says in (
        ("kind: [a]", "'kind' is missing"),
        ("about: x", "'kind' is missing; kinds are complaint, context"),
        ("kind: anser", "unknown kind 'anser'; did you mean 'answer'?"),
    ):
        root = compose(f"symptomtree-case: 1\ntitle: t\nevents:\n  - {{{kind}}}\n".encode(), "c.yaml")
        assert not isinstance(root, Problem)
        builder = Builder("c.yaml")
        assert builder.build(root, Case) is MISSING
        assert str(builder.problems[0]).startswith("c.yaml:4:5: K106 ")
        assert says in str(builder.problems[0])


def test_every_problem_of_every_file_is_told_in_one_run():
    """A file that cannot be read at all does not hide the others."""
    files = {
        "a.yaml": b"parts:\n  bike: {name: bike}\n",
        "b/a.yaml": b"parts:\n  bike: {nam: bike}\n  frame: {inside: [x]}\n",
        "b/b.yaml": b"parts: {a: \xff}\n",
        "b/c.yaml": b"{" * 99,
    }
    assert [str(p).partition(" ")[0] + " " + str(p).split()[1] for p in read(files).problems] == [
        "b/a.yaml:2:10: K104",
        "b/a.yaml:2:9: K105",
        "b/a.yaml:2:3: K110",
        "b/a.yaml:3:19: K103",
        "b/a.yaml:3:10: K105",
        "b/b.yaml:1:1: K003",
        "b/c.yaml:1:17: K004",
    ]
    assert "already taken at a.yaml:2:3" in str(read(files).problems[2])


def test_a_mark_before_the_text_is_no_part_of_it():
    """Some editors begin a file with U+FEFF."""
    assert not told(b"\xef\xbb\xbfparts:\n  bike: {name: bike}\n")


def test_a_file_may_hold_any_line_ends():
    """Windows and old Mac files are read too, and their positions count the same."""
    for end in ("\r\n", "\r"):
        assert told("parts:\n  bike: {nam: bike}\n".replace("\n", end))[0].startswith("k.yaml:2:10: K104")


@pytest.mark.parametrize(
    "content",
    [
        b"parts:\n" + b"".join(b"  p%d: {name: x}\n" % n for n in range(20_000)),
        b"[" + b"a, " * (MAX_NODES + 1) + b"]",
        b"a" * (MAX_BYTES + 1),
        b"parts: {a: &a [x, x], b: &b [*a, *a], c: &c [*b, *b], d: [*c, *c]}",
        b"[" * 500_000,
        b"- " * 400_000,
        b"? " * 400_000,
        b"!!python/object/apply:os.system ['exit 1']",
        b"%YAML 9.9\n---\na: b\n",
        b"\xff\xfep\x00a\x00",
        b'parts: {a: {name: "\\ud800"}}',
        b"'" * 999_999,
        b"\n" * 999_999 + b"\t",
        b"&a " * 300_000,
        b"#" * 999_999,
    ],
    ids=lambda content: repr(content[:12]),
)
def test_a_file_made_to_hurt_is_told_and_done_with(content):
    """Bombs of aliases, depth and size cost no more than a moment."""
    started = time.process_time()
    found = told(content)
    assert time.process_time() - started < 5
    assert len(found) == 1
    assert found[0].split()[1] in ("K001", "K003", "K004")


def test_a_problem_is_one_line_whatever_its_names_hold():
    """A key with line ends in it does not break the list of problems apart."""
    found = told('parts:\n  "a\\nb": {name: x, "c\\nd": y}\n')
    found += [str(p) for p in vet(read({"k.yaml": b'parts:\n  "a\\n\\nb": {name: x, inside: "b\\nc"}\n'}))]
    assert found
    assert not any("\n" in line for line in found)


# --- folders


def test_a_folder_is_read_whole(tmp_path):
    """Both endings, folders below; what is hidden is not knowledge, and links to folders are not followed."""
    for name in (
        "a.yaml",
        "b.yml",
        "c.YAML",
        "sub/d.yaml",
        ".hidden.yaml",
        ".git/e.yaml",
        "notes.txt",
        "x.yaml/f.yaml",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True, parents=True)
        (tmp_path / name).write_text("parts: {}\n")
    (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
    names = [p.relative_to(tmp_path).as_posix() for p in files_of(tmp_path)]
    assert names == ["a.yaml", "b.yml", "c.YAML", "sub/d.yaml", "x.yaml/f.yaml"]


def test_one_file_is_a_folder_of_one(tmp_path):
    """Its own path stands before its problems."""
    (tmp_path / "a.yaml").write_text("prats: {}\n")
    draft = read(read_bytes(tmp_path / "a.yaml"), tmp_path / "a.yaml")
    assert str(draft.problems[0]).startswith(f"{tmp_path}/a.yaml:1:1: K104")


def _empty(folder: Path) -> None:
    (folder / "notes.txt").write_text("nothing")


def _broken_link(folder: Path) -> None:
    (folder / "a.yaml").symlink_to(folder / "nowhere")


def _link_to_itself(folder: Path) -> None:
    (folder / "a.yaml").symlink_to(folder / "a.yaml")


def _pipe(folder: Path) -> None:
    os.mkfifo(folder / "a.yaml")


def _strange_name(folder: Path) -> None:
    (folder / "a\x1b[31m\n.yaml").write_text("parts: {}\n")


def _undecodable_name(folder: Path) -> None:
    Path(os.fsdecode(os.fsencode(folder) + b"/a\xff.yaml")).write_text("parts: {}\n")


def _too_many(folder: Path) -> None:
    for n in range(MAX_FILES + 1):
        (folder / f"{n}.yaml").touch()


def _too_much(folder: Path) -> None:
    for n in range(25):
        (folder / f"{n}.yaml").write_bytes(b"#" * 10_000_000)


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (_empty, "holds no YAML file; name the folder"),
        (_broken_link, "a.yaml: not a file, or a link that leads nowhere"),
        (_link_to_itself, "a.yaml: not a file, or a link that leads nowhere"),
        (_pipe, "a.yaml: not a file"),
        (_strange_name, "a name that cannot be printed"),
        (_undecodable_name, "a name that cannot be printed"),
        (_too_many, f"holds more than {MAX_FILES} YAML files"),
        (_too_much, "bytes of YAML; name a narrower folder"),
    ],
)
def test_a_folder_that_cannot_be_read_is_one_line(made, says, tmp_path, capsys):
    """Exit code 2, and what to do."""
    made(tmp_path)
    assert main(["vet", str(tmp_path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert err.count("\n") == 1
    assert err[:-1].isprintable()


def test_no_folder_at_all(tmp_path, capsys):
    """The same for a name that leads nowhere."""
    assert main(["vet", str(tmp_path / "none")]) == 2
    assert "no such folder" in capsys.readouterr().err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
@pytest.mark.parametrize("name", ["sub", "sub/a.yaml"])
def test_what_may_not_be_read_is_told(name, tmp_path, capsys):
    """A folder without the right to list it is not silently left out."""
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub/a.yaml").write_text("parts: {}\n")
    (tmp_path / name).chmod(0)
    assert main(["vet", str(tmp_path)]) == 2
    (tmp_path / name).chmod(stat.S_IRWXU)
    assert "make it readable or take it away" in capsys.readouterr().err


def test_what_cannot_be_opened_is_told(tmp_path, monkeypatch):
    """The same where the right to read does not show (as for root)."""
    (tmp_path / "a.yaml").write_text("parts: {}\n")

    def refuse(self: Path, *_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(Unreadable, match="Permission denied; make it readable"):
        read_bytes(tmp_path)


def test_a_huge_file_is_not_read_whole(tmp_path):
    """Ten million bytes are one problem."""
    (tmp_path / "a.yaml").write_bytes(b"a: b\n" * 2_000_000)
    files = read_bytes(tmp_path)
    assert len(files["a.yaml"]) == MAX_BYTES + 1
    assert told(files["a.yaml"])[0].startswith("k.yaml:1:1: K001 ")


# --- the command


@pytest.mark.parametrize(
    ("content", "code", "lines"), [(SMALL, 0, 0), (SMALL + "prats: {}\n", 1, 1), ("parts: {", 1, 1)]
)
def test_vet_says_by_its_exit_code_what_it_found(content, code, lines, tmp_path, capsys):
    """0 clean, 1 problems, each a line on standard output."""
    (tmp_path / "k.yaml").write_text(content)
    assert main(["vet", str(tmp_path)]) == code
    out, err = capsys.readouterr()
    assert (out.count("\n"), err) == (lines, "")


# --- anything at all


def holds(files: dict[str, bytes]) -> None:
    """Reading gives problems with places in these files, or knowledge that compiles."""
    draft = read(files)
    problems = vet(draft)
    for problem in problems:
        lines = files[problem.place.source].decode("utf-8", "replace").splitlines() or [""]
        assert 1 <= problem.place.line <= len(lines) + 1
        assert problem.place.column >= 1
        assert str(problem).isprintable()
    if not problems:
        compile_entries(draft.entries, draft.digest)


@given(st.binary(max_size=300))
def test_any_bytes_are_told_or_read(content):
    """No file raises anything."""
    holds({"k.yaml": content})


@given(st.recursive(st.text(max_size=8), lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text(max_size=8), x)))
def test_any_shape_is_told_or_read(value):
    """Nor does any tree of lists and mappings, wherever it stands."""
    for wrapped in (value, {"parts": value}, {"causes": {"a": value}}, {"checks": {"a": {"settles": {"b": value}}}}):
        holds({"k.yaml": json.dumps(wrapped).encode()})


def _mutated(content: bytes, chance: random.Random) -> bytes:
    """Return a file after a few accidents: bytes changed, lines lost, doubled, moved or indented, words swapped."""
    lines = content.split(b"\n")
    for _ in range(chance.randint(1, 4)):
        a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
        match chance.randrange(7):
            case 0:
                del lines[a]
            case 1:
                lines.insert(b, lines[a])
            case 2:
                lines[a] = b"  " + lines[a]
            case 3:
                lines[a] = lines[a][: chance.randrange(len(lines[a]) + 1)]
            case 4:
                words = lines[a].split(b" ")
                words[chance.randrange(len(words))] = chance.choice(lines[b].split(b" "))
                lines[a] = b" ".join(words)
            case 5:
                at = chance.randrange(len(lines[a]) + 1)
                lines[a] = lines[a][:at] + bytes([chance.randrange(256)]) + lines[a][at + 1 :]
            case _:
                odd = [
                    b"null",
                    b"[]",
                    b"{}",
                    b"1e999",
                    b"nan",
                    b"*a",
                    b"&a",
                    b"!!set",
                    b"- x",
                    b"? y",
                    b"''",
                    b"\\e",
                    b"-1",
                ]
                key, colon, _ = lines[a].partition(b":")
                lines[a] = key + colon + b" " + chance.choice(odd)
        lines = lines or [b""]
    return b"\n".join(lines)


@settings(max_examples=300)
@given(st.randoms(use_true_random=False))
def test_any_accident_to_the_small_knowledge_is_told_or_harmless(chance):
    """What vets clean after an accident compiles; all else is told with its place."""
    holds({"k.yaml": _mutated(SMALL.encode(), chance)})


@settings(max_examples=25)
@given(st.randoms(use_true_random=False))
def test_any_accident_to_what_ships_is_told_or_harmless(chance):
    """The same for one of the real files, read alone."""
    files = read_bytes(shipped("knowledge"))
    name = chance.choice(sorted(files))
    holds({name: _mutated(files[name], chance)})


@settings(max_examples=60)
@given(
    content=st.randoms(use_true_random=False).map(lambda chance: _mutated(SMALL.encode(), chance))
    | st.binary(max_size=60)
)
def test_vet_ends_with_0_1_or_2_and_no_traceback(content, tmp_path_factory):
    """Through the command too; whoever knows YAML by accident only gets lines."""
    folder = tmp_path_factory.mktemp("fuzz")
    (folder / "k.yaml").write_bytes(content)
    assert main(["vet", str(folder)]) in (0, 1)
