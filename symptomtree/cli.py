"""The command line: parses and delegates. Each command imports what it needs when it runs."""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from io import TextIOWrapper
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 done, 1 problems found, 2 wrong use or unreadable input."""
    # The arrays here are small: a second thread of the matrix library only waits for the first (three times the time
    # at the 95th percentile on two cores).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a sign that a terminal lacks must not end the program
    try:
        args = build_parser().parse_args(_flags_first(sys.argv[1:] if argv is None else argv))
        code = int(args.run(args))
        if sys.stdout:  # there is none when it was closed before the start
            sys.stdout.flush()
        return code
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing is left to be flushed at exit
        if isinstance(error, BrokenPipeError):  # whoever reads the pipe has seen enough
            return 0
        print(f"symptomtree: {error.strerror or error}; is the disk full?", file=sys.stderr)
        return 2
    except Exception as error:
        if not _is_told(error):
            raise
        from symptomtree.plain.text import clean

        for line in str(error).splitlines():  # names of files and words in them are not ours
            print(clean(line), file=sys.stderr)
        return 2


def _flags_first(argv: Sequence[str]) -> list[str]:
    """Return the words of `measure`, flags first: the parser takes no readings after a flag that follows the name."""
    if list(argv[:1]) != ["measure"]:
        return list(argv)
    flags: list[str] = []
    others: list[str] = []
    for before, word in pairwise(argv):
        (flags if word.startswith("--") or before == "--keep" else others).append(word)
    return ["measure", *flags, *others]


def _is_told(error: Exception) -> bool:
    """Whether the error is one that a user can cause; its text then says what is wrong, where, and what to do."""
    from symptomtree.cases.files import BadCase
    from symptomtree.kb.compile import Faulty
    from symptomtree.kb.load import Unreadable
    from symptomtree.lessons.lesson import NoLesson
    from symptomtree.lessons.progress import BadProgress
    from symptomtree.measuring.tool import BadInput
    from symptomtree.measuring.tools import NoSuchTool
    from symptomtree.reasoning.profiles import BadProfile
    from symptomtree.terminal.keys import BadKeys
    from symptomtree.trials import CannotTry

    told = (BadCase, BadInput, BadKeys, BadProfile, BadProgress, CannotTry, Faulty, NoLesson, NoSuchTool, Unreadable)
    return isinstance(error, told)


def _open(folder: Path | None) -> "KnowledgeBase":
    from symptomtree.kb.compile import open_knowledge

    return open_knowledge(folder)


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="symptomtree", description="From a complaint to a bike that is fixed.")
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="show the version and exit")
    parser.add_argument("--case", type=Path, metavar="FILE", help="go on with a case, or keep a new one here")
    parser.add_argument("--look", choices=("dark", "light", "plain"), default="dark", help="default: dark")
    parser.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal, for its own copying")
    _add_profile(parser)
    _add_knowledge(parser)
    parser.set_defaults(run=_bench)
    commands = parser.add_subparsers(metavar="COMMAND")
    vet = commands.add_parser("vet", help="check the knowledge; prints path:line:column: CODE message")
    vet.add_argument("path", nargs="?", type=Path, help="a folder or file (default: the knowledge that ships)")
    vet.add_argument(
        "--deep",
        action="store_true",
        help="also what takes minutes: inference, simulated bikes, and the advice on them",
    )
    vet.set_defaults(run=_vet)
    ask = commands.add_parser("ask", help="find out what is wrong, in questions and answers, line by line")
    ask.add_argument("complaint", nargs="*", help="what is wrong, in your own words (default: you are asked)")
    where = ask.add_mutually_exclusive_group()
    where.add_argument("--case", type=Path, metavar="FILE", help="keep the case here (default: your data folder)")
    where.add_argument("--no-save", action="store_true", help="keep no case file")
    ask.add_argument("--resume", type=Path, metavar="FILE", help="go on with a case")
    _add_profile(ask)
    _add_knowledge(ask)
    ask.set_defaults(run=_ask)
    replay = commands.add_parser("replay", help="apply a case file's events and print what follows")
    replay.add_argument("case", type=Path, nargs="?", help="a case file or a walkthrough")
    replay.add_argument("--json", action="store_true", help="print the assessment as JSON")
    replay.add_argument("--schema", action="store_true", help="print the JSON schema of --json and exit")
    _add_profile(replay)
    _add_knowledge(replay)
    replay.set_defaults(run=_replay)
    around = commands.add_parser("map", help="print what the knowledge connects an entry with")
    around.add_argument("id", nargs="?", help="any id of the knowledge (default: an overview of it all)")
    around.add_argument("--to", metavar="FIX", help="only the ways from the finding ID to this fix")
    around.add_argument("--depth", type=int, choices=range(1, 7), default=2, help="how many steps away (default: 2)")
    around.add_argument("--format", choices=("text", "dot", "mermaid"), default="text", help="default: text")
    _add_knowledge(around)
    around.set_defaults(run=_map)
    walk = commands.add_parser("walk", help="learn the order of work on bikes whose fault is known, line by line")
    walk.add_argument("case", nargs="?", metavar="CASE", help="a walkthrough's name or file (default: what you need)")
    walk.add_argument("--learner", default="me", metavar="NAME", help="whose progress is kept (default: me)")
    walk.add_argument("--area", metavar="AREA", help="only where this part of the bike is complained of, like brake")
    walk.add_argument("--difficulty", choices=("first", "steady", "tricky"), help="only of this difficulty")
    walk.add_argument("--generated", action="store_true", help="a bike drawn from the knowledge, no walkthrough")
    walk.add_argument("--seed", dest="number", type=_whole_from(0), metavar="N", help="decides all chance")
    walk.add_argument("--list", action="store_true", help="list the walkthroughs and exit")
    _add_profile(walk)
    _add_knowledge(walk)
    walk.set_defaults(run=_walk)
    measure = commands.add_parser("measure", help="work something out from readings, with its uncertainty")
    measure.add_argument("tool", nargs="?", metavar="NAME", help="which (default: a list of them)")
    measure.add_argument("given", nargs="*", metavar="FIELD=VALUE", help="readings (default: what it needs is told)")
    measure.add_argument("--ask", action="store_true", help="ask for each field, line by line; taps are taken so")
    measure.add_argument("--json", action="store_true", help="print the result as JSON")
    measure.add_argument("--keep", type=Path, metavar="FILE", help="keep the log here; of a tool that has one")
    measure.set_defaults(run=_measure)
    trial = commands.add_parser("trial", help="work simulated bikes to the end and print how good the advice is")
    trial.add_argument("--bikes", type=_whole_from(1), default=100, metavar="N", help="how many (default: 100)")
    trial.add_argument(
        "--seed", dest="number", type=_whole_from(0), default=1, metavar="S", help="decides all chance (default: 1)"
    )
    trial.add_argument("--jobs", type=_whole_from(1), default=1, metavar="J", help="how many processes (default: 1)")
    trial.add_argument("--json", action="store_true", help="print the figures as JSON")
    trial.add_argument(
        "--baselines",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="try rules of thumb, and the adviser with wrong knowledge, on the same bikes (default: yes)",
    )
    trial.add_argument("--worst", type=_whole_from(0), default=0, metavar="N", help="also tell of the N dearest bikes")
    trial.add_argument(
        "--against-optimum",
        type=_whole_from(1),
        metavar="MODELS",
        help="instead: solve so many small random problems exactly, and print how far each policy is from the optimum",
    )
    trial.add_argument("--scheduler", metavar="ADDRESS", help="spread over the Dask cluster of this scheduler")
    _add_knowledge(trial)
    trial.set_defaults(run=_trial)
    return parser


def _whole_from(least: int) -> Callable[[str], int]:
    """Return what reads a whole number that is not below `least`."""

    def whole(text: str) -> int:
        number = int(text) if text.isascii() and text.isdigit() else least - 1
        if number < least:
            raise argparse.ArgumentTypeError(f"{text!r} is no whole number from {least} on")
        return number

    return whole


class _ShowVersion(argparse.Action):
    """Looks the version up only when asked: the look-up takes longer than all else that starts."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        print(parser.prog, version("symptomtree"))
        parser.exit()


def _vet(args: argparse.Namespace) -> int:
    from symptomtree.kb.load import read, read_bytes
    from symptomtree.kb.shipped import shipped
    from symptomtree.kb.vet import vet

    folder = args.path or shipped("knowledge")
    draft = read(read_bytes(folder), folder)
    problems = vet(draft)
    if args.deep and not problems:  # broken knowledge cannot be reasoned with
        from symptomtree.trials.deep import vet_deeply

        problems = vet_deeply(draft)
    for problem in problems:
        print(problem)
    return 1 if problems else 0


def _add_knowledge(command: argparse.ArgumentParser) -> None:
    command.add_argument("--knowledge", type=Path, metavar="PATH", help="a folder of knowledge (default: what ships)")


def _add_profile(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--profile",
        default="new-mechanic",
        metavar="NAME|FILE",
        help="whose time, money, tools and skill: home-rider, new-mechanic, senior-technician, or a file "
        "(default: new-mechanic)",
    )


def _bench(args: argparse.Namespace) -> int:
    if not (sys.stdin and sys.stdin.isatty() and sys.stdout and sys.stdout.isatty()):
        print("symptomtree: the screens need a terminal; in a pipe use: symptomtree ask", file=sys.stderr)
        return 2
    from symptomtree.terminal.app import open_app

    return open_app(args.case, args.knowledge, args.profile, args.look, not args.no_mouse)


def _ask(args: argparse.Namespace) -> int:
    try:
        from symptomtree.plain.ask import ask

        return ask(
            " ".join(args.complaint),
            knowledge=args.knowledge,
            keep=args.case,
            resume=args.resume,
            save=not args.no_save,
            profile=args.profile,
        )
    except KeyboardInterrupt:  # before the first question; from there on the dialogue takes it
        return 0


def _replay(args: argparse.Namespace) -> int:
    import json

    import msgspec

    from symptomtree.cases.files import read_case
    from symptomtree.plain.record import AssessmentRecord, record
    from symptomtree.plain.report import report
    from symptomtree.reasoning.assess import Adviser
    from symptomtree.reasoning.profiles import profile_named

    if args.schema:
        print(json.dumps(msgspec.json.schema(AssessmentRecord), indent=2))
        return 0
    if args.case is None:
        print("symptomtree replay: name a case file", file=sys.stderr)
        return 2
    kb = _open(args.knowledge)
    case = read_case(args.case, kb)
    assessment = Adviser(kb).assess(case.events, profile_named(args.profile, kb))
    if args.json:
        print(json.dumps(msgspec.to_builtins(record(case.title, assessment)), indent=2))
    else:
        for text in report(case.title, assessment):
            print(text)
    return 0


def _map(args: argparse.Namespace) -> int:
    from symptomtree.kb.nodes import nearest
    from symptomtree.plain.map import dot, lines, mermaid, overview
    from symptomtree.reasoning.graph import causal_graph, neighbourhood, ways

    if args.id is None and (args.to is not None or args.format != "text"):
        print("symptomtree map: name the entry to start from", file=sys.stderr)
        return 2
    graph = causal_graph(_open(args.knowledge))
    for name in (args.id, args.to):
        if name is not None and name not in graph:
            print(f"symptomtree map: nothing is called {name!r}{nearest(name, list(graph))}", file=sys.stderr)
            return 2
    if args.id is None:
        found = overview(graph)
    else:
        steps = ways(graph, args.id, args.to) if args.to else neighbourhood(graph, args.id, args.depth)
        found = {"text": lines, "dot": dot, "mermaid": mermaid}[args.format](graph, args.id, steps)
        if not steps:
            print(f"symptomtree map: no way{f' to {args.to}' if args.to else ''} from {args.id}", file=sys.stderr)
    for line in found:
        print(line)
    return 0


def _walk(args: argparse.Namespace) -> int:
    if args.case is not None and (args.generated or args.area or args.difficulty):
        print("symptomtree walk: name a case, or say what it should be like; not both", file=sys.stderr)
        return 2
    try:
        from symptomtree.plain.walk import Wish, walk

        wish = Wish(args.case, args.area, args.difficulty, args.number, args.generated)
        return walk(wish, args.learner, list_only=args.list, knowledge=args.knowledge, profile=args.profile)
    except KeyboardInterrupt:  # before the first question; from there on the dialogue takes it
        return 0


def _measure(args: argparse.Namespace) -> int:
    try:
        from symptomtree.plain.measure import measure

        return measure(args.tool, args.given, args.ask, args.json, args.keep)
    except KeyboardInterrupt:
        return 0


def _trial(args: argparse.Namespace) -> int:
    from symptomtree.trials import CannotTry
    from symptomtree.trials.command import show_gaps, show_trial
    from symptomtree.trials.trial import Trial

    if args.against_optimum:
        show_gaps(args.against_optimum, args.number)
        return 0

    kb = _open(args.knowledge)
    if not kb.cause_ids or not kb.entries.symptoms:
        raise CannotTry("this knowledge has no causes or no symptoms, so no bike can be drawn from it; name another")
    trial = Trial(args.knowledge, kb.digest, args.number, args.bikes, args.baselines)
    show_trial(trial, args.jobs, args.scheduler, args.json, args.worst)
    return 0
