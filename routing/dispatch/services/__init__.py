"""Sending plans out, taking the crews' marks, and the secret addresses of their calendars."""

from routing.dispatch.services.booking import job_book
from routing.dispatch.services.feeds import feed_ensure, feed_renew
from routing.dispatch.services.marks import stop_mark
from routing.dispatch.services.rigs import rig_set
from routing.dispatch.services.send_out import plan_send_out
from routing.dispatch.services.telling import customers_tell, on_our_way, plan_tell, telling_settings_set
from routing.dispatch.services.weather import day_weather_set

__all__ = [
    "customers_tell",
    "day_weather_set",
    "feed_ensure",
    "feed_renew",
    "job_book",
    "on_our_way",
    "plan_send_out",
    "plan_tell",
    "rig_set",
    "stop_mark",
    "telling_settings_set",
]
