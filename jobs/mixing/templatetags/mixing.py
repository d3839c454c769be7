"""Strengths and volumes: `{% load mixing %}`."""

from django import template

from jobs.mixing import words
from shared.web.words import volume_words

register = template.Library()
register.filter("volume", volume_words)
register.simple_tag(words.strength_words, name="strength")
