"""The environment that the tests were started in. pytest changes `os.environ` for each test, and a thread
that copies that meanwhile may fail: programs that threads start get this one.
"""

import os
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

ENVIRONMENT: Final[Mapping[str, str]] = MappingProxyType(dict(os.environ))
