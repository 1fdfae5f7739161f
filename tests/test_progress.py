"""When a long job says how far it is."""

import pytest

from talklog.progress import Progress


def told(*calls: tuple[float, float | None], terminal: bool) -> list[str]:
    written: list[str] = []
    progress = Progress("a.wav", written.append, terminal=terminal)
    for done, total in calls:
        progress(done, total)
    return written


@pytest.mark.parametrize("terminal", [True, False])
@pytest.mark.parametrize("total", [60.0, 199.0])
def test_a_short_job_says_nothing(terminal, total) -> None:
    assert told((0.25, total), (total, total), terminal=terminal) == []


def test_lines_in_a_log_come_every_ten_percent_and_at_the_end() -> None:
    calls = [(float(second), 600.0) for second in range(1, 601)]
    written = told(*calls, terminal=False)
    assert written == [f"a.wav: {p} % of 10 minutes heard\n" for p in range(0, 101, 10)]


def test_the_line_on_a_terminal_moves_and_stays_at_the_end() -> None:
    written = told((6.0, 600.0), (7.0, 600.0), (300.0, 600.0), (600.0, 600.0), terminal=True)
    assert written == [
        "a.wav: 1 % of 10 minutes heard\r",
        "a.wav: 50 % of 10 minutes heard\r",
        "a.wav: 100 % of 10 minutes heard\n",
    ]


def test_of_a_recording_of_unknown_length_the_minutes_are_told() -> None:
    calls = [(60.0, None), (599.0, None), (1300.0, None), (1320.0, 1320.0)]
    assert told(*calls, terminal=False) == [
        "a.wav: 0 minutes heard\n",
        "a.wav: 20 minutes heard\n",
        "a.wav: 100 % of 22 minutes heard\n",
    ]
