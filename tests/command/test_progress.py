import io

import pytest

from gradehaul.command.output import progress_on


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("stream", [None, io.StringIO()])
def test_nothing_without_a_terminal(stream):
    with progress_on(stream) as show:
        assert show is None


def test_nothing_in_the_first_second():
    stream = Terminal()
    with progress_on(stream, clock=iter([0.0, 0.5, 0.9]).__next__) as show:
        show(1, 3)
        show(2, 3)
    assert stream.getvalue() == ""


def test_long_work_shows_how_far_it_is(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    stream = Terminal()
    with progress_on(stream, clock=iter([0.0, 1.5]).__next__) as show:
        show(1, 3)
        show(2, 3)
    assert "routes" in stream.getvalue()
    assert "2/3" in stream.getvalue()
