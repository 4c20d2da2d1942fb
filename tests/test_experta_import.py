"""The rule engine library is imported without a trace outside itself. Each check runs in a fresh process."""

import subprocess
import sys
import textwrap


def run(code: str) -> None:
    """Run code in a fresh process in which every warning is an error."""
    command = [sys.executable, "-W", "error", "-c", textwrap.dedent(code)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_collections_and_the_root_logger_are_left_as_found():
    """The library works, `collections` has not grown a name, and no handler was added to the application's log."""
    run("""
        import collections, logging
        before = dict(vars(collections))
        from symptomtree.reasoning._experta import Fact, KnowledgeEngine, P, Rule
        assert dict(vars(collections)) == before and "Mapping" not in before
        assert logging.getLogger().handlers == []
        assert Fact(name="chain")["name"] == "chain"
    """)


def test_what_was_already_there_stays():
    """Another library may have lent the same name, and the application may have set up its log."""
    run("""
        import collections, collections.abc, logging
        collections.Mapping = collections.abc.Mapping
        logging.basicConfig()
        handlers = list(logging.getLogger().handlers)
        import symptomtree.reasoning._experta
        assert collections.Mapping is collections.abc.Mapping
        assert logging.getLogger().handlers == handlers and handlers
    """)


def test_a_failing_import_restores_too(tmp_path):
    """The error comes through, and nothing lent stays behind."""
    broken = "import collections, logging\nlogging.basicConfig()\nraise RuntimeError(collections.Mapping.__name__)\n"
    (tmp_path / "experta.py").write_text(broken, encoding="utf-8")
    run(f"""
        import collections, logging, sys
        sys.path.insert(0, {str(tmp_path)!r})
        try:
            import symptomtree.reasoning._experta
        except RuntimeError as error:
            assert str(error) == "Mapping"
        else:
            raise AssertionError("the import should have failed")
        assert not hasattr(collections, "Mapping")
        assert logging.getLogger().handlers == []
    """)
