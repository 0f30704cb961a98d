"""How fast the compiler is, as ratios within one run: ``python -m tests.bench``. No test, never collected."""
