"""``python -m copytime``."""

from copytime.cli import main

if __name__ == "__main__":
    main()
