"""Let ``python -m xrdorder.cli`` do what the command ``xrdorder`` does."""

from xrdorder.cli import main

main()
