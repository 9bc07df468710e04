"""Run as `python -m weirbook`."""

from weirbook.cli import main

if __name__ == "__main__":
    main()
