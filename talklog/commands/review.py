"""``review``: the local page where records are played, corrected and signed."""

from __future__ import annotations

import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from talklog.errors import DataFileError, TalklogError

if TYPE_CHECKING:
    from talklog.bands import BandSheet
    from talklog.record import ServiceRecord
    from talklog.web.frame import Workshop

PORT = 8765
ADDRESS = "127.0.0.1"


@click.command(short_help="The page: play, correct, sign.")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=PORT,
    show_default=True,
    help="Port of the page on this computer.",
)
@click.option(
    "--book",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Logbook file, made if it is not there; TALKLOG_BOOK or the user's own if not given.",
)
def review(port: int, book: Path | None) -> None:
    """Serve the review page on this computer, and on no other, until Ctrl-C.

    Readings that are out of band come first, then what was not sure, then the rest. Each plays its
    own seconds. Every correction is kept as a new revision; signing seals the record.

    \b
      talklog review
      talklog review --port 9000 --book workshop.db
    """
    from tempfile import TemporaryDirectory

    from talklog.logbook.store import Logbook

    try:
        import uvicorn

        from talklog.web.site import make_site
    except ImportError as error:
        raise TalklogError(
            f"the review page needs more ({error.name}): pip install 'talklog[review]'"
        ) from error
    with (
        _listening(port) as door,
        TemporaryDirectory(prefix="talklog-") as folder,
        Logbook.open(book) as opened,
    ):
        site = make_site(workshop_of(opened, Path(folder), port=port))
        click.echo(f"http://{ADDRESS}:{port}/  (book {opened.path}; Ctrl-C ends)", err=True)
        quiet = {"log_level": "warning", "server_header": False, "proxy_headers": False}
        uvicorn.Server(uvicorn.Config(site, **quiet)).run(sockets=[door])


def _listening(port: int) -> socket.socket:
    """The door of the page, on this computer alone. Raises TalklogError when it is taken."""
    door = socket.socket()
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((ADDRESS, port))
    except OSError as error:
        door.close()
        raise TalklogError(
            f"port {port} cannot be used ({error.strerror}); give another one with --port"
        ) from error
    return door


def workshop_of(book: object, folder: Path, *, port: int) -> Workshop:
    """Puts together what the pages work with."""
    from talklog.web import intake
    from talklog.web.frame import Workshop
    from talklog.web.safety import Guard, names_of
    from talklog.web.sound import SoundStore

    return Workshop(
        book=book,  # type: ignore[arg-type]
        sounds=SoundStore(folder),
        guard=Guard(names_of(ADDRESS, port)),
        take=intake.take_recording,
        read=intake.read_note,
        sheet_of=_sheet_of,
        machine_keys=_machine_keys,
    )


def _sheet_of(record: ServiceRecord) -> BandSheet | None:
    """The sheet filed for the machine of a record, if there is a good one."""
    from talklog.sheets import sheet_for_machine

    if record.machine is None:
        return None
    try:
        return sheet_for_machine(record.machine.key).sheet
    except DataFileError:
        return None


def _machine_keys() -> tuple[str, ...]:
    """Machines whose sheet is filed; a broken sheet hides only itself."""
    from talklog.bands import find_problems, load_bands
    from talklog.sheets import sheet_folder

    paths = sorted(sheet_folder().glob("*.toml"))
    return tuple(load_bands(path).machine.key for path in paths if not find_problems(path))
