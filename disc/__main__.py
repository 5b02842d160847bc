"""`python -m disc`, the same as the `disc` command."""

from disc.entry import main

if __name__ == "__main__":
    main()
