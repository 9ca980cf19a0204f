"""What all tests share: property tests that give the same result on every machine and day."""

from hypothesis import settings

# No deadline, because a busy machine is not a fault; the same examples in every run.
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable")
