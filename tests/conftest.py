"""What all tests share: random searches have no deadline, since these machines are shared and noisy.

Where ``CI`` is set they look at the same examples every time, so that a run can be repeated; at a desk they look on.
"""

import os

from hypothesis import settings

settings.register_profile("patient", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("patient")
