"""`python -m coincide` is `coincide`."""

from coincide.cli import main

main()
