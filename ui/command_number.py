"""A number as an option of a command: the text typed goes in, with a point or a comma."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from tracker.types import InputError
from ui.known_input import decimal

if TYPE_CHECKING:
    _Base = click.ParamType[float]
else:
    _Base = click.ParamType  # earlier releases of click do not take the kind of value


class PlainNumber(_Base):
    """A finite number, written with a point or a comma like everywhere else."""

    name = "number"

    def convert(
        self,
        value: str | float,
        param: click.Parameter | None,
        ctx: click.Context | None,  # noqa: ARG002 - click gives it
    ) -> float:
        """Read one number.

        Parameters
        ----------
        value
            As typed, or a default that is a number already.
        param, ctx
            The option, for the message; the command.

        Returns
        -------
        float
            In the unit of the option.

        Raises
        ------
        InputError
            If it is none.
        """
        try:
            number = decimal(str(value))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            name = "" if param is None else param.opts[0]
            raise InputError("command.no_number", name=name, text=str(value))
        return number


NUMBER = PlainNumber()
