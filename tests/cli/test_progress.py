"""Progress on a terminal: what is done and how long it takes; nothing elsewhere."""

import io

from xrdorder.cli.progress import Progress, duration


class Terminal(io.StringIO):
    def isatty(self):
        return True


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


def shown(reports):
    """Lines that appear for reports of (seconds since the last, done, total, name)."""
    terminal, clock = Terminal(), Clock()
    with Progress("fitting", terminal, clock) as progress:
        for seconds, *report in reports:
            clock.now += seconds
            progress(*report)
    return [line.strip() for line in terminal.getvalue().split("\r") if line.strip()]


def test_the_remaining_time_comes_from_the_pace():
    lines = shown([(9.0, 1, 5, "a"), (2.0, 2, 5, "b"), (2.0, 3, 5, "c"), (2.0, 4, 5, "d"), (2.0, 5, 5, "e")])
    # the first report holds the calibration and sets the clock; then two seconds a sample
    assert lines == [
        "fitting ...",
        "fitting: 1 of 5 (a)",
        "fitting: 2 of 5, about 6 s left (b)",
        "fitting: 3 of 5, about 4 s left (c)",
        "fitting: 4 of 5, about 2 s left (d)",
        "fitting: 5 of 5 (e)",
    ]


def test_samples_that_needed_no_fit_do_not_make_it_hopeful():
    kept = [(0.001, k, 12, "kept") for k in range(1, 11)]
    lines = shown([*kept, (30.0, 11, 12, "new")])
    assert lines[-1] == "fitting: 11 of 12, about 30 s left (new)"


def test_the_line_is_wiped_at_the_end_and_after_an_error():
    terminal = Terminal()
    try:
        with Progress("fitting", terminal) as progress:
            progress(1, 2, "a" * 200)
            raise ValueError
    except ValueError:
        pass
    *_, last = terminal.getvalue().rstrip("\r").split("\r")
    assert last.strip() == ""
    assert max(len(line) for line in terminal.getvalue().split("\r")) < 80
    assert "\n" not in terminal.getvalue()


def test_nothing_is_written_where_there_is_no_terminal():
    stream = io.StringIO()
    with Progress("fitting", stream) as progress:
        progress(1, 2, "a")
    assert stream.getvalue() == ""


def test_times_are_said_as_people_do():
    assert [duration(s) for s in (0.2, 59.4, 60.0, 3599.0, 3600.0)] == [
        "1 s",
        "59 s",
        "1 min",
        "59 min 59 s",
        "1 h 0 min",
    ]
