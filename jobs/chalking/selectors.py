from jobs.chalking.models import ChalkModel, ChalkSetting


def chalk_setting_get() -> ChalkSetting:
    """The owner's limit; a first call makes the row with its defaults."""
    setting, _made = ChalkSetting.objects.get_or_create(pk=1)
    return setting


def chalk_model_now() -> ChalkModel | None:
    """The newest fit, or nothing before the first."""
    return ChalkModel.objects.order_by("-fitted_at", "-id").first()
