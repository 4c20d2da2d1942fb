"""The command line: parses and delegates. Each command imports what it needs when it runs."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 done, 1 problems found, 2 wrong use or unreadable input."""
    args = build_parser().parse_args(argv)
    return int(args.run(args))


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="symptomtree", description="From a complaint to a bike that is fixed.")
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="show the version and exit")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    vet = commands.add_parser("vet", help="check the knowledge; prints path:line:column: CODE message")
    vet.add_argument("path", nargs="?", type=Path, help="a folder or file (default: the knowledge that ships)")
    vet.set_defaults(run=_vet)
    return parser


class _ShowVersion(argparse.Action):
    """Looks the version up only when asked: the look-up takes longer than all else that starts."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        print(parser.prog, version("symptomtree"))
        parser.exit()


def _vet(args: argparse.Namespace) -> int:
    from symptomtree.kb.load import Unreadable, read, read_bytes
    from symptomtree.kb.shipped import shipped
    from symptomtree.kb.vet import vet

    folder = args.path or shipped("knowledge")
    try:
        draft = read(read_bytes(folder), "" if folder.is_file() else str(folder))
    except Unreadable as error:
        print(error, file=sys.stderr)
        return 2
    problems = vet(draft)
    for problem in problems:
        print(problem)
    return 1 if problems else 0
