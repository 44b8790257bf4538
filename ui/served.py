"""The server of the dashboard: Streamlit's own command, with the pages' libraries loaded meanwhile.

Run by `tailsway open` as ``python -m ui.served run …``.
"""

from __future__ import annotations

import streamlit.web.bootstrap  # noqa: F401 - loaded here, before another thread loads its parts
from streamlit.web.cli import main

from ui.loading import load_ahead, newcomers_demo_ahead

if __name__ == "__main__":
    load_ahead()
    newcomers_demo_ahead()
    main(prog_name="streamlit")
