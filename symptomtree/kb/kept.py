"""Vetted entries, kept in a file under the digest of their sources and of the code that vetted them.

The file is data, never code; a damaged one is as good as none.
"""

import hashlib
import os
import tempfile
from pathlib import Path

import msgspec

from symptomtree.kb.model import Entries


def kept_name(digest: str) -> str:
    """Return the name of the file for knowledge with this digest."""
    code = hashlib.sha256()
    for module in sorted(Path(__file__).parent.rglob("*.py")):
        code.update(module.read_bytes())
    return f"knowledge-{digest[:24]}-{code.hexdigest()[:8]}.msgpack"


def read_kept(path: Path) -> Entries | None:
    """Return the entries in a file; None when there is none, or it is not what was written."""
    try:
        content = path.read_bytes()
        if hashlib.sha256(content[32:]).digest() != content[:32]:
            return None
        return msgspec.msgpack.decode(content[32:], type=Entries)
    except (OSError, msgspec.MsgspecError):
        return None


def keep(path: Path, entries: Entries) -> None:
    """Write a file in one move; where it cannot be written, the next start is only slower."""
    content = msgspec.msgpack.encode(entries)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(hashlib.sha256(content).digest() + content)
            os.replace(name, path)
        except OSError:
            os.unlink(name)
    except OSError:
        return
