import logging

from django.apps import AppConfig

logger = logging.getLogger(__name__)


class WebConfig(AppConfig):
    name = "shared.web"
    label = "web"
    verbose_name = "Web"

    def ready(self) -> None:
        """Compile translations that are newer than their compiled form; it is a look at two dates otherwise. And let
        both databases compare letters alike."""
        from shared.letters import letters_register
        from shared.web.texts import compile_all

        letters_register()
        try:
            compile_all()
        except OSError as error:  # installed where nothing may be written: compile_texts was run before
            logger.warning("translations were not compiled: %s", error)
