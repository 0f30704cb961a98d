"""``python -m specc``."""

from specc.cli import main

main()
