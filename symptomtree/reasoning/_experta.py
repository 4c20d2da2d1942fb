"""The rule engine library, imported so that it leaves no trace outside itself.

Its last release has two side effects to undo. It pins a `frozendict` which reads `collections.Mapping`, gone since
Python 3.10, while it is imported; and it puts a handler on the root logger, which is the application's to set up.
"""

import collections
import logging
from collections.abc import Mapping

_log = logging.getLogger()
_handlers = list(_log.handlers)
_lent = not hasattr(collections, "Mapping")
if _lent:
    collections.Mapping = Mapping  # type: ignore[attr-defined]
try:
    from experta import Fact, KnowledgeEngine, P, Rule
finally:
    if _lent:
        del collections.Mapping  # type: ignore[attr-defined]
    _log.handlers[:] = _handlers

__all__ = ["Fact", "KnowledgeEngine", "P", "Rule"]
