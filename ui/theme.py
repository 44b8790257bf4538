"""The look of the dashboard: colours for light and dark, passed to Streamlit as flags.

Chosen to be read in the sun (contrast of text 12:1 or more) and told apart by colour-blind eyes:
across is blue, up-down is orange (after Okabe & Ito's palette), and every colour goes with a shape
of its own: across is a solid line with round dots, up-down a dashed line with diamonds.
"""

from __future__ import annotations

from collections.abc import Mapping

LIGHT: Mapping[str, str] = {
    "primaryColor": "#0b5f57",
    "backgroundColor": "#fdfcf8",
    "secondaryBackgroundColor": "#efece2",
    "textColor": "#15211e",
    "linkColor": "#0a4f86",
    "borderColor": "#b9b4a3",
    "blueColor": "#0a5a9c",
    "orangeColor": "#b04300",
    "greenColor": "#0b5f57",
    "violetColor": "#6a3d9a",
    "grayColor": "#5b625c",
    "redColor": "#a31621",
    "yellowColor": "#8a6a00",
}

DARK: Mapping[str, str] = {
    "primaryColor": "#5fd3c1",
    "backgroundColor": "#101614",
    "secondaryBackgroundColor": "#1c2522",
    "textColor": "#f1efe6",
    "linkColor": "#8cc8ff",
    "borderColor": "#4a5650",
    "blueColor": "#7cc0ff",
    "orangeColor": "#ffa566",
    "greenColor": "#5fd3c1",
    "violetColor": "#c9a6ff",
    "grayColor": "#a9b2ab",
    "redColor": "#ff8a8a",
    "yellowColor": "#ecc94b",
}

SHAPE: Mapping[str, str] = {
    "baseFontSize": "17",
    "baseRadius": "0.4rem",
    "headingFontSizes": "2rem,1.5rem,1.2rem,1.05rem",
    "linkUnderline": "true",
    "showWidgetBorder": "true",
    "paddingTop": "1rem",
    "paddingBottom": "2rem",
}


def theme_flags() -> dict[str, str]:
    """Give the theme as Streamlit settings.

    Returns
    -------
    dict
        Setting by dotted name.
    """
    return {
        **{f"theme.{name}": value for name, value in SHAPE.items()},
        **{f"theme.light.{name}": value for name, value in LIGHT.items()},
        **{f"theme.dark.{name}": value for name, value in DARK.items()},
    }
