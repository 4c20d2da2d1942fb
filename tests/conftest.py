"""What all tests share."""

import pytest
from hypothesis import settings

from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.assess import Adviser

# The same examples on every run, and no time limit for one: a busy machine must not turn a law red.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def adviser() -> Adviser:
    """Return an adviser with the knowledge that ships."""
    return Adviser(open_knowledge())
