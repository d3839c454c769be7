"""Strengths and volumes: `{% load mixing %}`."""

from django import template

from jobs.mixing import words

register = template.Library()
register.filter("volume", words.volume_words)
register.simple_tag(words.strength_words, name="strength")
