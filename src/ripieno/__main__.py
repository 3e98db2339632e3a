"""`python -m ripieno`."""

from ripieno.cli.entry import main

if __name__ == "__main__":
    raise SystemExit(main())
