"""What the tests of drawn pages do with their buttons."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest


def pressed(page: AppTest, label: str) -> AppTest:
    """Press a button."""
    done = next(button for button in page.button if button.label == label).click().run()
    assert not done.exception
    return done
