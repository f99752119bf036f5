"""`python -m hardpan`."""

from hardpan.cli import main

if __name__ == "__main__":
    main()
