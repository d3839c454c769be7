from jobs.chalking.models import ChalkModel, ChalkSetting


def chalk_setting_get() -> ChalkSetting:
    """The owner's limit; with its defaults, and not stored, where nobody set it yet."""
    return ChalkSetting.objects.filter(pk=1).first() or ChalkSetting(pk=1)


def chalk_model_now() -> ChalkModel | None:
    """The newest fit, or nothing before the first."""
    return ChalkModel.objects.order_by("-fitted_at", "-id").first()
