from django.contrib import admin

from pricing.costs.models import Bonus, CostSettings, MileageRate, Worker, WorkerTerms


class WorkerTermsInline(admin.TabularInline):
    model = WorkerTerms
    extra = 0


@admin.register(Worker)
class WorkerAdmin(admin.ModelAdmin):
    """The owner's alone, as all of the administration."""

    inlines = (WorkerTermsInline,)


admin.site.register([CostSettings, MileageRate, Bonus])
