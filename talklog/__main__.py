"""``python -m talklog`` is the ``talklog`` command."""

from talklog.cli import main

main()
