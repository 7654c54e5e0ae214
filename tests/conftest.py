"""What all tests share: random searches have no deadline, since these machines are shared and noisy."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
