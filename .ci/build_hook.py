"""Lays the vetted entries into the wheel, so that the first start of an installed program need not vet."""

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from symptomtree.kb.kept import keep, kept_name  # noqa: E402 - what is built is around this file
from symptomtree.kb.load import digest_of, read, read_bytes  # noqa: E402
from symptomtree.kb.vet import vet  # noqa: E402


class Vetted(BuildHookInterface):  # type: ignore[type-arg]
    """Fails the build when the knowledge has problems."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the file, but not to an editable installation, where it would grow stale beside its sources."""
        if version == "editable":
            return
        folder = ROOT / "knowledge"
        files = read_bytes(folder)
        draft = read(files, folder)
        if problems := vet(draft):
            raise ValueError("\n".join(map(str, problems)))
        self._file = Path(self.directory, kept_name(digest_of(files)))
        keep(self._file, draft.entries)
        build_data["force_include"][str(self._file)] = f"symptomtree/_shipped/vetted/{self._file.name}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Leave nothing but the wheel."""
        if version != "editable":
            self._file.unlink()
