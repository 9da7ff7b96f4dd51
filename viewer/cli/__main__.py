"""``python -m viewer.cli`` is ``bowtrue``."""

from viewer.cli import main

raise SystemExit(main())
