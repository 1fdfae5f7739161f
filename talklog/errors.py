"""Every error talklog raises on purpose.

    TalklogError                 base; its text says what happened, where, and what to do next
    ├── AudioError               a recording that cannot be read
    ├── ModelError               a speech model that is missing or broken
    ├── DataFileError            a vocabulary, unit, cue or band file that breaks its own rules
    ├── TextError                typed text that cannot be read
    ├── UnitError                a unit that is unknown, or a conversion that has no meaning
    ├── RecordError              a stored record that does not follow the schema
    ├── CorrectionError          a correction of a record that makes no sense
    └── LogbookError             a logbook that is damaged, full, busy, or says no to a change

Only ``cli`` (and later the web pages) turn these into printed text; everything else raises.
"""


class TalklogError(Exception):
    """Base of all errors a user may be shown. ``str(error)`` is fit to print as it is."""


class AudioError(TalklogError):
    """A recording that cannot be read."""


class ModelError(TalklogError):
    """A speech model that is missing, incomplete or refused by the recogniser."""


class DataFileError(TalklogError):
    """A vocabulary, unit, cue or band file that breaks its own rules."""


class TextError(TalklogError):
    """Typed text that cannot be read."""


class UnitError(TalklogError):
    """A unit that is unknown, or a conversion that has no meaning."""


class RecordError(TalklogError):
    """A stored record that does not follow the schema."""


class LogbookError(TalklogError):
    """A logbook that cannot be opened, read or written, or a change that it must refuse."""


class CorrectionError(TalklogError):
    """A correction of a record that makes no sense."""
