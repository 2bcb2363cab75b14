"""``python -m copytime``."""

import sys

if __name__ == "__main__":
    try:
        from copytime.cli import main
    except KeyboardInterrupt:  # Ctrl-C while the program is still being loaded
        print("interrupted", file=sys.stderr)  # noqa: T201 - reason: nothing of ours is there to say it
        sys.exit(130)
    main()
