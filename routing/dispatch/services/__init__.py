"""Sending plans out, taking the crews' marks, and the secret addresses of their calendars."""

from routing.dispatch.services.booking import job_book
from routing.dispatch.services.feeds import feed_ensure, feed_renew
from routing.dispatch.services.marks import stop_mark
from routing.dispatch.services.rigs import rig_set
from routing.dispatch.services.send_out import plan_send_out

__all__ = ["feed_ensure", "feed_renew", "job_book", "plan_send_out", "rig_set", "stop_mark"]
