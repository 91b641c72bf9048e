"""The command line as a module: ``python -m dutylife``."""

from dutylife.cli import main

if __name__ == "__main__":
    main()
