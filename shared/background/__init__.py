"""Work that runs after the request: `enqueue`, `background_task`, schedules."""
