"""Runs the program: python -m app."""

import sys

from app import needs

if __name__ == "__main__":
    fault = needs.old_python()
    if fault is None:
        try:
            from app.cli import main
        except ImportError as e:
            fault = needs.import_fault(e)
    if fault is not None:
        print(f"emblema: {fault}", file=sys.stderr)
        sys.exit(2)
    sys.exit(main())
