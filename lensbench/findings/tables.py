"""Findings as tables: columns of plain arrays for other programs, and a display in notebooks.

What a row has is read from its class, so an empty table has its columns too.
"""

from __future__ import annotations

import dataclasses
import functools
import html
import types
import typing
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from lensbench.figure import Figure
from lensbench.formatting import NOT_MEASURED, with_interval

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_ROWS = 20
"""Rows of a table that a notebook shows; `columns` gives all of them."""


class Tabular:
    """What findings can do beside holding their fields: become columns, and show themselves in a notebook."""

    __slots__ = ()

    def columns(self, table: str | None = None) -> dict[str, NDArray[Any]]:
        """A table of this finding as one array a column, which pandas and astropy take as they are.

        Parameters
        ----------
        table : str, optional
            The field that holds the table; otherwise the first field that does. A finding without tables is
            itself a table of one row.

        Returns
        -------
        dict of str to ndarray, shape (rows,)
            A figure takes three columns: its value, then the ends of its interval, as ``stops``, ``stops_low``
            and ``stops_high``. Parts of a field, such as `red` of lateral colour, have its name in front
            (``red_radial_px``), fixed pairs a number behind (``lean_0``). What could not be measured is NaN in
            columns of numbers and empty in columns of text. Lists within a row stay lists.

        Raises
        ------
        KeyError
            Where the finding has no such table; the message names those that there are.

        Examples
        --------
        >>> from lensbench.findings import Figure, Sharpness, ZoneDifference
        >>> apart = ZoneDifference("centre", "sagittal", "tangential", Figure(4.0, 3.0, 5.0, "%"), "green")
        >>> columns = Sharpness(astigmatism=[apart]).columns("astigmatism")
        >>> list(columns)
        ['zone', 'first', 'against', 'percent', 'percent_low', 'percent_high', 'channel']
        >>> columns["percent_high"]
        array([5.])
        """
        tables = _tables_of(type(self))
        if table is None and not tables:
            return as_columns([self], type(self))
        name = next(iter(tables)) if table is None else table
        if name not in tables:
            there = f"it has {', '.join(tables)}" if tables else "it has none"
            raise KeyError(f"{type(self).__name__} has no table {name}; {there}")
        return as_columns(getattr(self, name), tables[name])

    def _repr_html_(self) -> str:
        """The finding as HTML: its single values, then each table and each part in a fold of its own."""
        return f"<div><strong>{html.escape(type(self).__name__)}</strong>{_fields_html(self)}</div>"


class _Column(NamedTuple):
    """One column: its name, the type of its values, and how to get one from a row."""

    name: str
    kind: Any
    get: Callable[[Any], Any]


def as_columns(rows: Sequence[Any], kind: type) -> dict[str, NDArray[Any]]:
    """Rows of one class, a struct or dataclass, as one array a column; see `Tabular.columns`."""
    columns = (leaf for column in _row_columns(kind) for leaf in _leaves(column))
    return {column.name: _as_array([column.get(row) for row in rows], column.kind) for column in columns}


def _as_array(values: list[Any], kind: Any) -> NDArray[Any]:
    """Values of one type, or None, as an array."""
    import numpy as np

    unknown = any(value is None for value in values)
    if kind is float or (kind is int and unknown):
        return np.array([np.nan if value is None else value for value in values], np.float64)
    if isinstance(kind, type) and issubclass(kind, str):
        return np.array(["" if value is None else value for value in values], np.str_)
    if kind in (int, bool) and not unknown:
        return np.array(values, kind)
    array: NDArray[np.object_] = np.empty(len(values), object)
    for number, value in enumerate(values):
        array[number] = value
    return array


# -- what a class holds ---------------------------------------------------------------------------------------


@functools.cache
def _fields_of(kind: Any) -> dict[str, Any]:
    """The fields of a struct or dataclass and the types of their values, None apart."""
    hints = typing.get_type_hints(kind)
    fields: Any = msgspec.structs.fields(kind) if _is_struct(kind) else dataclasses.fields(kind)
    return {field.name: _known(hints[field.name]) for field in fields}


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


def _is_row(kind: Any) -> bool:
    """Whether a type has fields of its own; a figure is a single value."""
    return kind is not Figure and (_is_struct(kind) or (isinstance(kind, type) and dataclasses.is_dataclass(kind)))


def _known(hint: Any) -> Any:
    """A type without None."""
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        others = [part for part in typing.get_args(hint) if part is not type(None)]
        return others[0] if len(others) == 1 else object
    return hint


def _tables_of(kind: type) -> dict[str, type]:
    """The fields of a class that hold lists of rows, with the class of these rows."""
    lists = {name: typing.get_args(hint) for name, hint in _fields_of(kind).items() if _is_list(hint)}
    return {name: inside[0] for name, inside in lists.items() if inside and _is_row(inside[0])}


def _is_list(hint: Any) -> bool:
    return typing.get_origin(hint) is list


def _row_columns(kind: type, prefix: str = "", get: Callable[[Any], Any] = lambda row: row) -> Iterator[_Column]:
    """The columns of a class with figures whole: fields of fields and the parts of fixed tuples taken apart."""
    for name, hint in _fields_of(kind).items():
        yield from _parts(_Column(f"{prefix}{name}", hint, functools.partial(_attribute, get, name)))


def _parts(column: _Column) -> Iterator[_Column]:
    inside = typing.get_args(column.kind)
    if _is_row(column.kind):
        yield from _row_columns(column.kind, f"{column.name}_", column.get)
    elif typing.get_origin(column.kind) is tuple and ... not in inside:
        for number, part in enumerate(inside):
            get = functools.partial(_item, column.get, number)
            yield from _parts(_Column(f"{column.name}_{number}", _known(part), get))
    else:
        yield column


def _leaves(column: _Column) -> Iterator[_Column]:
    """A column of figures as three of numbers; any other as it is."""
    if column.kind is not Figure:
        yield column
        return
    for part, ending in (("value", ""), ("low", "_low"), ("high", "_high")):
        get = functools.partial(_attribute, column.get, part)
        yield _Column(f"{column.name}{ending}", float, get)


def _attribute(get: Callable[[Any], Any], name: str, row: Any) -> Any:
    whole = get(row)
    return None if whole is None else getattr(whole, name)


def _item(get: Callable[[Any], Any], number: int, row: Any) -> Any:
    whole = get(row)
    return None if whole is None else whole[number]


# -- in a notebook --------------------------------------------------------------------------------------------


def _fields_html(finding: Any) -> str:
    """The single values of a finding as a table, then what it holds in folds."""
    kind: Any = type(finding)
    tables = _tables_of(kind)
    single, folds = [], []
    for name, hint in _fields_of(kind).items():
        value = getattr(finding, name)
        if name in tables:
            folds.append(_fold(f"{name} ({len(value)})", _rows_html(value, tables[name])))
        elif _is_row(hint) and value is not None:
            folds.append(_fold(name, _fields_html(value)))
        else:
            single.append(f"<tr><th>{html.escape(name)}</th><td>{html.escape(_in_words(value))}</td></tr>")
    return (f"<table>{''.join(single)}</table>" if single else "") + "".join(folds)


def _fold(title: str, content: str) -> str:
    return f"<details open><summary>{html.escape(title)}</summary>{content}</details>"


def _rows_html(rows: Sequence[Any], kind: type) -> str:
    """The first rows of a table."""
    columns = list(_row_columns(kind))
    head = "".join(f"<th>{html.escape(column.name)}</th>" for column in columns)
    lines = [
        "".join(f"<td>{html.escape(_in_words(column.get(row)))}</td>" for column in columns)
        for row in rows[:MOST_ROWS]
    ]
    body = "".join(f"<tr>{line}</tr>" for line in lines)
    more = f"<p>and {len(rows) - MOST_ROWS} more</p>" if len(rows) > MOST_ROWS else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"


def _in_words(value: Any) -> str:
    """A value as a notebook shows it, not yet escaped."""
    if value is None:
        return NOT_MEASURED
    if isinstance(value, Figure):
        return with_interval(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.5g}"
    if isinstance(value, list | tuple) and not all(isinstance(part, str) for part in value):
        return ", ".join(_in_words(part) for part in value) if len(value) <= 4 else f"{len(value)} values"
    return ", ".join(value) if isinstance(value, list | tuple) else str(value)
