"""From YAML text to immutable structs, with the position of everything that is wrong.

The C loader composes nodes, which keep their marks; `Builder` walks them along the annotations of a struct. It
collects every problem and raises none. Scalars are read by what the field wants, never by YAML's guess, so `no` is
text where text belongs. The limits stop files that are made to hurt.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from math import isfinite
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec
import yaml

MAX_BYTES = 1_000_000
MAX_DEPTH = 16
MAX_NODES = 100_000
NULL = "tag:yaml.org,2002:null"
"""What the composer calls a plain `null`, `~` or nothing at all."""

Path = tuple[str | int, ...]
"""Keys and list positions from the top of a file to a value: ('causes', 'dry-chain', 'shows')."""

_UNSAFE = "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff"
UNSAFE = re.compile(f"[{_UNSAFE}]")
"""Control characters and marks that turn the direction of writing: no text here needs one, and terminals obey them."""
UNSAFE_VALUE = re.compile(f"[{_UNSAFE}\r\x85\u2028\u2029]")
"""The same, and the line ends which a file may have but which a value gets only by an escape."""


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A position in a file; lines and columns count from 1."""

    source: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.source}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that is wrong, and where; prints as `path:line:column: CODE text`.

    A matter of judgement names the entries that it is `about`, so that a reviewed exception can let it stand.
    """

    place: Place
    code: str
    text: str
    about: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Return one line, whatever the names in it hold."""
        return " ".join(f"{self.place}: {self.code} {self.text}".split())


class _Missing:
    """Marks a value that could not be built; its problem is on the list."""


MISSING = _Missing()


def nearest(word: str, known: Iterator[str] | tuple[str, ...] | list[str]) -> str:
    """Return '; did you mean ...?' for the closest known word, or nothing."""
    close = get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"; did you mean {close[0]!r}?" if close else ""


def compose(content: bytes, source: str) -> yaml.Node | Problem:
    """Compose one YAML document within the limits.

    Returns:
        The root node, or the problem that makes the file unreadable.
    """
    if len(content) > MAX_BYTES:
        return Problem(Place(source, 1, 1), "K001", f"the file is larger than {MAX_BYTES} bytes; split it")
    try:
        text = content.decode("utf-8-sig")  # some editors put a mark before the text, which is no part of it
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        return Problem(Place(source, line, 1), "K003", "not UTF-8 text; save the file as UTF-8")
    if bad := UNSAFE.search(text):
        line = text.count("\n", 0, bad.start()) + 1
        column = bad.start() - (text.rfind("\n", 0, bad.start()) + 1) + 1
        return Problem(Place(source, line, column), "K002", f"control character U+{ord(bad.group()):04X}; delete it")
    try:
        return _within_limits(text, source) or yaml.compose(text, Loader=yaml.CSafeLoader) or _empty(source)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        place = Place(source, mark.line + 1, mark.column + 1) if mark else Place(source, 1, 1)
        what = getattr(error, "problem", None) or str(error).splitlines()[0]
        return Problem(place, "K003", f"not readable as YAML: {what}")


def _empty(source: str) -> Problem:
    return Problem(Place(source, 1, 1), "K003", "the file is empty")


def _within_limits(text: str, source: str) -> Problem | None:
    """Look at the event stream first: composing nests as deep as the file does, and aliases can explode."""
    depth = nodes = 0
    for event in yaml.parse(text, Loader=yaml.CSafeLoader):
        nodes += 1
        if isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            depth += 1
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            depth -= 1
        code = "K004"
        if isinstance(event, yaml.AliasEvent):
            what = "an alias (*name); write the value out"
        elif getattr(event, "tag", None):
            what = "a tag (!name); leave it out, the key says what its value is"
        elif depth > MAX_DEPTH:
            what = f"nested more than {MAX_DEPTH} deep"
        elif nodes > MAX_NODES:
            what = f"more than {MAX_NODES} values; split the file"
        elif isinstance(event, yaml.ScalarEvent) and (bad := UNSAFE_VALUE.search(event.value)):
            code, what = "K002", f"an escape makes control character U+{ord(bad.group()):04X}; leave it out"
        else:
            continue
        mark = event.start_mark
        return Problem(Place(source, mark.line + 1, mark.column + 1) if mark else Place(source, 1, 1), code, what)
    return None


@cache
def _fields(struct: type) -> dict[str, tuple[str, Any, bool]]:
    """encoded name -> (attribute, type with its limits, required), in the order of the struct."""
    hints = get_type_hints(struct, include_extras=True)
    return {f.encode_name: (f.name, hints[f.name], f.required) for f in msgspec.structs.fields(struct)}


@cache
def _members(union: Any) -> tuple[Any, ...]:
    """Members of a union, nested ones and aliases flattened, without None."""
    flat: list[Any] = []
    for member in get_args(union):
        flat += _members(member) if get_origin(member) is Union else [member]
    return tuple(m for m in flat if m is not type(None))


def _bare(tp: Any) -> Any:
    return get_args(tp)[0] if get_origin(tp) is Annotated else tp


def _is_struct(tp: Any) -> bool:
    return isinstance(tp, type) and issubclass(tp, msgspec.Struct)


class Builder:
    """Builds structs from the nodes of one file.

    Attributes:
        problems: everything found wrong so far, in the order met.
        places: path -> where its value (for a key of a mapping: the key) stands.
    """

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.places: dict[Path, Place] = {}

    def place(self, node: yaml.Node) -> Place:
        return Place(self.source, node.start_mark.line + 1, node.start_mark.column + 1)

    def fail(self, node: yaml.Node, code: str, text: str) -> _Missing:
        self.problems.append(Problem(self.place(node), code, text))
        return MISSING

    def build(self, node: yaml.Node, tp: Any, path: Path = ()) -> Any:
        """Return the value of `node` as type `tp`, or MISSING with its problems noted."""
        self.places.setdefault(path, self.place(node))
        bare = _bare(tp)
        origin = get_origin(bare)
        if origin is Union or type(bare).__name__ == "UnionType":
            return self._union(node, tp, path)
        if _is_struct(bare):
            return self._struct(node, bare, path)
        if origin is dict:
            return self._limits(node, tp, self._mapping(node, get_args(bare)[1], path))
        if origin is list:
            return self._limits(node, tp, self._sequence(node, get_args(bare)[0], path))
        return self._scalar(node, tp)

    def pairs(self, node: yaml.MappingNode, path: Path) -> Iterator[tuple[str, yaml.Node, yaml.Node]]:
        """Yield (key, its node, value node); a key that is repeated or not text is a problem and left out."""
        seen: dict[str, int] = {}
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode):
                self.fail(key, "K101", "a key must be plain text")
            elif key.value in seen:
                self.fail(key, "K102", f"{key.value!r} is already given on line {seen[key.value]}")
            else:
                seen[key.value] = key.start_mark.line + 1
                self.places[(*path, key.value)] = self.place(key)
                yield key.value, key, value

    def _struct(self, node: yaml.Node, struct: type, path: Path) -> Any:
        if not isinstance(node, yaml.MappingNode):
            return self.fail(node, "K103", f"expected 'key: value' pairs ({', '.join(list(_fields(struct))[:4])}, ...)")
        fields = _fields(struct)
        tag = struct.__struct_config__.tag_field  # type: ignore[attr-defined]
        given: dict[str, Any] = {}
        whole = True
        for name, key, value in self.pairs(node, path):
            if name == tag:
                continue
            if name not in fields:
                self.fail(key, "K104", f"unknown key {name!r}{nearest(name, list(fields))}")
                whole = False
                continue
            attribute, tp, _ = fields[name]
            built = self.build(value, tp, (*path, name))
            if built is MISSING:
                whole = False
            given[attribute] = built
        for name, (attribute, _, required) in fields.items():
            if required and attribute not in given:
                self.fail(node, "K105", f"{name!r} is missing" + (f" in {path[-1]!r}" if path else ""))
                whole = False
        return struct(**given) if whole else MISSING

    def _union(self, node: yaml.Node, tp: Any, path: Path) -> Any:
        members = _members(_bare(tp))
        structs = [m for m in members if _is_struct(m)]
        if not isinstance(node, yaml.MappingNode):
            leaves = [m for m in members if m not in structs and get_origin(m) is not dict]
            lists = [m for m in leaves if get_origin(m) is list]
            if not leaves:
                return self._struct(node, structs[0], path)
            if isinstance(node, yaml.SequenceNode) and lists:
                return self.build(node, lists[0], path)
            return self._scalar(node, leaves[0] if len(leaves) == 1 else Union[tuple(leaves)])  # noqa: UP007
        keys = {
            k.value: v.value if isinstance(v, yaml.ScalarNode) else ""
            for k, v in node.value
            if isinstance(k, yaml.ScalarNode)
        }
        if len(structs) > 1:  # a union of kinds: the tag chooses
            kinds = {m.__struct_config__.tag: m for m in structs}
            kind = keys.get("kind")
            if kind not in kinds:
                what = f"unknown kind {kind!r}{nearest(str(kind), list(kinds))}" if kind else "'kind' is missing"
                return self.fail(node, "K106", f"{what}; kinds are {', '.join(kinds)}")
            return self._struct(node, kinds[kind], path)
        maps = [m for m in members if get_origin(m) is dict]
        texts = [m for m in members if _bare(m) is str]
        if structs and texts and not maps and keys.keys().isdisjoint(_fields(structs[0])):
            what = f"expected text, or {' and '.join(_fields(structs[0]))}; a text with ': ' in it goes in quotes"
            return self.fail(node, "K103", what)
        if structs and (not maps or next(iter(_fields(structs[0]))) in keys):
            return self._struct(node, structs[0], path)
        return self.build(node, maps[0], path) if maps else self._scalar(node, members[0])

    def _mapping(self, node: yaml.Node, value_type: Any, path: Path) -> Any:
        if not isinstance(node, yaml.MappingNode):
            return self.fail(node, "K103", "expected 'key: value' pairs")
        built = {name: self.build(value, value_type, (*path, name)) for name, _, value in self.pairs(node, path)}
        return MISSING if any(v is MISSING for v in built.values()) else built

    def _sequence(self, node: yaml.Node, item_type: Any, path: Path) -> Any:
        if not isinstance(node, yaml.SequenceNode):
            return self.fail(node, "K103", "expected a list")
        built = [self.build(item, item_type, (*path, n)) for n, item in enumerate(node.value)]
        return MISSING if any(v is MISSING for v in built) else built

    def _limits(self, node: yaml.Node, tp: Any, value: Any) -> Any:
        """Check the length limits that an annotation puts on a list or mapping whose items are already built."""
        if value is not MISSING:
            for meta in getattr(tp, "__metadata__", ()):
                if meta.min_length is not None and len(value) < meta.min_length:
                    return self.fail(node, "K107", f"needs at least {meta.min_length}, has {len(value)}")
                if meta.max_length is not None and len(value) > meta.max_length:
                    return self.fail(node, "K107", f"takes at most {meta.max_length}, has {len(value)}")
        return value

    def _scalar(self, node: yaml.Node, tp: Any) -> Any:
        if not isinstance(node, yaml.ScalarNode):
            return self.fail(node, "K103", f"expected {_in_words(tp)}")
        if node.tag == NULL:
            return self.fail(node, "K108", f"expected {_in_words(tp)}, got nothing; give a value or drop the key")
        try:
            value = msgspec.convert(node.value, tp, strict=False)
            if isinstance(value, float) and not isfinite(value):
                return self.fail(node, "K108", f"expected a number, got {_short(node.value)}")
            return value
        except msgspec.ValidationError as error:
            options = [str(o) for o in get_args(_bare(tp))] if get_origin(_bare(tp)) is Literal else []
            if options:
                text = f"{_short(node.value)} is none of {', '.join(options)}{nearest(node.value, options)}"
            elif _bare(tp) is str and "regex" in str(error):
                text = f"{_short(node.value)} is not an id; ids are lower-case words joined by '-'"
            else:
                limit = str(error).replace("`", "").removeprefix("Expected ")  # 'float > 0.0', 'str of length <= 60'
                text = f"expected {_in_words(tp)}, got {_short(node.value)}"
                text += "" if ", got" in limit else f" ({limit})"
            return self.fail(node, "K108", text)


def _short(value: str) -> str:
    return repr(value if len(value) <= 60 else f"{value[:57]}...")


def _in_words(tp: Any) -> str:
    bare = _bare(tp)
    if bare is str:
        return "text"
    if bare in (int, float):
        return "a number"
    return "yes or no" if bare is bool else "text or a number"


def read_struct(path: FilePath, struct: type, failed: type[Exception], what: str) -> tuple[Any, Builder]:
    """Read one struct from a small YAML file.

    Args:
        path: the file.
        struct: what it must hold.
        failed: raised when the file cannot be used; its message says why and what to do.
        what: the kind of file, as a reader knows it ('a case file').
    Returns:
        The struct (MISSING when it could not be built), and the builder with problems and places.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise failed(f"{path}: {error.strerror or error}; name {what}") from error
    root = compose(content, str(path))
    if isinstance(root, Problem):
        raise failed(f"{root}; mend the file, or start from its last good copy")
    builder = Builder(str(path))
    return builder.build(root, struct), builder
