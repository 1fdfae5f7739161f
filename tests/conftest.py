"""Fixtures that several test files share."""

from pathlib import Path

import pytest

from talklog.recognise import Recogniser, find_model


@pytest.fixture(scope="session")
def speech_model() -> Path:
    """The folder of talklog's own speech model. Without one these tests fail: they are no extra."""
    return find_model()


@pytest.fixture(scope="session")
def recogniser(speech_model: Path) -> Recogniser:
    """The speech model, loaded once for all tests."""
    return Recogniser(speech_model)
