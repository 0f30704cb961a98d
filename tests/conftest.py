"""What holds for all tests: the properties try the same examples each run.

A red run is then about the change under test. New examples are sought on purpose:
``pytest --hypothesis-profile search``, and what it finds is added with ``@example``.
"""

from hypothesis import settings

settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False, print_blob=True)
settings.load_profile("same")
