"""What all tests share."""

from hypothesis import settings

# The same examples on every run, and no time limit for one: a busy machine must not turn a law red.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")
