"""The script that Streamlit runs each time a page is drawn."""

from ui.loading import wait_until_loaded

wait_until_loaded()

from ui.dashboard import run  # noqa: E402 - only now is it sure to be loaded once

run()
