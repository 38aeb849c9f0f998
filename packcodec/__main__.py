"""`python -m packcodec`."""

from packcodec.edge.cli import main

main()
