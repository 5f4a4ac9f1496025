"""``python -m wallquant``: the command line where no console script is on the path."""

from __future__ import annotations

if __name__ == "__main__":  # a spawned process imports its parent's main module under another name, and must not plan again
    from wallquant.cli import main

    main()
