"""Template marks: safe notation, times and codes as people read them."""

from django import template

register = template.Library()
