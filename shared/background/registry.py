"""Names for the work that runs in the background. A task takes ids and calls one service."""

from collections.abc import Callable
from typing import Any

Task = Callable[..., Any]
_tasks: dict[str, Task] = {}


def background_task(name: str) -> Callable[[Task], Task]:
    """Register a function of a room's tasks.py under `name`, such as `plans.make_day_plan`."""

    def register(task: Task) -> Task:
        if name in _tasks and _tasks[name] is not task:
            raise ValueError(f"Two background tasks are called {name}.")
        _tasks[name] = task
        return task

    return register


def task_named(name: str) -> Task:
    """Raises KeyError for a name that no room registered."""
    return _tasks[name]


def task_names() -> list[str]:
    return sorted(_tasks)
