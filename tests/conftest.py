"""What holds for all tests: the properties try the same examples each run, none against the clock.

A red run is then about the change under test, not about what else the machine is doing.
New examples are sought on purpose: ``pytest --hypothesis-profile search``, and what it finds is
added with ``@example``.
"""

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("same")
