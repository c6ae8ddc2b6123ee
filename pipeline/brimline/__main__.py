"""``python -m brimline``: the same command where scripts are not on the path."""

from brimline.cli.main import main

if __name__ == "__main__":
    main()
