"""Template marks: safe notation, times and codes as people read them."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dosewright.ground.pure.errors import Refusal
from dosewright.roof.pages.facts import Section, Table
from dosewright.roof.pages.notation import Cell, is_code, label_of, mark_of, written

register = template.Library()


@register.filter
def drawn(cell: Cell) -> SafeString:
    """Draw one cell."""
    match cell.kind:
        case "code":
            if not cell.link:
                return format_html('<span class="code">{}</span>', cell.text)
            return format_html('<a class="code" href="{}">{}</a>', cell.link, cell.text)
        case "state":
            return state(cell.text)
        case "secret":
            return format_html('<code class="secret">{}</code>', cell.text)
        case "digest":
            return format_html('<code class="digest">{}</code>', cell.text)
        case "time":
            return format_html('<time datetime="{}">{}</time>', cell.exact or cell.text, cell.text)
        case "number":
            return format_html('<span class="number">{}</span>', cell.text)
        case "nothing":
            return format_html('<span class="nothing">{}</span>', cell.text)
        case "long":
            return format_html('<span class="long">{}</span>', cell.text)
    return format_html("{}", cell.text)


@register.filter
def all_drawn(cells: tuple[Cell, ...]) -> SafeString:
    """Draw several cells of one field, each on a line of its own when they are more than one."""
    if len(cells) == 1:
        return drawn(cells[0])
    return format_html('<ul class="several">{}</ul>', format_html_join("", "<li>{}</li>", ((drawn(c),) for c in cells)))


@register.filter
def state(text: Any) -> SafeString:
    """Draw a state: its word and a mark of its own shape, never colour alone."""
    return format_html('<span class="state mark-{}">{}</span>', mark_of(str(text)), text)


@register.filter
def code(text: Any) -> SafeString:
    """Draw a code as a link to what it names."""
    return drawn(written("code", str(text)))


@register.filter
def is_table(part: Section | Table) -> bool:
    """Tell a table from a section."""
    return isinstance(part, Table)


@register.filter
def zipped(row: Any, numeric: Any) -> Any:
    """Pair the cells of a row with whether their column is of numbers."""
    return zip(row, numeric, strict=True)


@register.filter
def amount(value: Any, name: str) -> SafeString:
    """Draw a value as the field `name` is written, with its unit."""
    return drawn(written(name, value))


@register.filter
def blocker(one: Any) -> SafeString:
    """Draw one thing that stands in the way: what was found, and what would do instead."""
    if isinstance(one, str):
        return format_html("{}", one)
    accepted = format_html(' <span class="soft">– {}: {}</span>', _("accepted"), one.accepted) if one.accepted else ""
    if isinstance(one, Refusal):
        what = drawn(written("code", one.field)) if is_code(one.field) else format_html("{}", label_of(one.field))
        return format_html("{}: {}{}", what, one.message, accepted)
    found = format_html(": {}", drawn(written("value", one.value))) if one.value else ""
    return format_html("{}{}{}", one.text, found, accepted)


@register.filter
def nth(values: Any, place: int) -> Any:
    """Return one of several values by its place."""
    return values[place] if place < len(values) else ""
