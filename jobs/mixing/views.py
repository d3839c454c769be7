from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from jobs.mixing import services
from jobs.mixing.at_hand import stock_at_hand
from jobs.mixing.domain.hauling import load_is_too_heavy
from jobs.mixing.forms import DirectionForm, LimitForm, MixForm, ProductForm, StockForm, StripForm
from jobs.mixing.mix_words import limit_words
from jobs.mixing.models import Mix, Product
from jobs.mixing.selectors import (
    StockNow,
    direction_now,
    is_too_large_to_haul,
    limit_list,
    limits_broken,
    mix_get,
    mix_list,
    product_get,
    product_list,
    stock_get,
    stock_now_or_reason,
)
from jobs.mixing.words import reason_words, strength_words
from shared.errors import WalldayError
from shared.people.roles import office_required, owner_required
from shared.web.present import today_here


@require_GET
@office_required
def products(request: HttpRequest) -> HttpResponse:
    """Products with their stocks, what each service takes, limits, and the way of going over a wall."""
    return _page(request)


@require_http_methods(["GET", "POST"])
@owner_required
def product_new(request: HttpRequest) -> HttpResponse:
    """Write a product down from its label."""
    form = ProductForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made: list[Product] = []
        if _tried(form, lambda: made.append(services.product_save(actor=request.user, **form.values))):
            return redirect("mixing:product", product_id=made[0].pk)
    return render(request, "mixing/product_form.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@office_required
def product(request: HttpRequest, product_id: int) -> HttpResponse:
    """One product with its deliveries; the owner changes what the label says."""
    row = product_get(pk=product_id)
    form = ProductForm(request.POST or None, instance=product_get(pk=product_id))
    if request.method == "GET":
        return _product_page(request, row, form=form)
    if not request.user.is_owner:  # type: ignore[union-attr]
        raise Http404
    if form.is_valid() and _tried(form, lambda: services.product_save(product=row, actor=request.user, **form.values)):
        messages.success(request, _("Kept."))
        return redirect("mixing:product", product_id=product_id)
    return _product_page(request, row, form=form, status=422)


@require_POST
@owner_required
def product_in_use(request: HttpRequest, product_id: int) -> HttpResponse:
    """The company uses a product no more, or again."""
    try:
        services.product_save(
            product=product_get(pk=product_id), actor=request.user, is_active=bool(request.POST.get("is_active"))
        )
    except WalldayError as error:
        messages.error(request, error.message)
    return redirect("mixing:product", product_id=product_id)


@require_POST
@office_required
def stock_new(request: HttpRequest, product_id: int) -> HttpResponse:
    """A delivery came; what is outside the hauling exception is said at once."""
    row, form = product_get(pk=product_id), StockForm(request.POST)
    if form.is_valid() and _tried(
        form, lambda: services.stock_receive(product=row, today=today_here(), actor=request.user, **form.values)
    ):
        messages.success(request, _("The delivery is written down."))
        return redirect("mixing:product", product_id=product_id)
    return _product_page(request, row, stock_form=form, status=422)


@require_POST
@office_required
def strip_new(request: HttpRequest, stock_id: int) -> HttpResponse:
    """What a test strip said of a stock."""
    stock, form = stock_get(pk=stock_id), _strip_form(stock_id, request.POST)
    if form.is_valid() and _tried(
        form, lambda: services.strip_record(stock=stock, today=today_here(), actor=request.user, **form.cleaned_data)
    ):
        messages.success(request, _("The strip is written down."))
        return redirect("mixing:product", product_id=stock.product_id)
    return _product_page(request, product_get(pk=stock.product_id), strip_forms={stock.pk: form}, status=422)


@require_POST
@office_required
def stock_used_up(request: HttpRequest, stock_id: int) -> HttpResponse:
    """Nothing is left of a delivery."""
    stock = services.stock_use_up(stock=stock_get(pk=stock_id), today=today_here(), actor=request.user)
    return redirect("mixing:product", product_id=stock.product_id)


@require_POST
@owner_required
def mix_set(request: HttpRequest) -> HttpResponse:
    """What a service takes in one position."""
    form, made = MixForm(request.POST), list[Mix]()
    if form.is_valid() and _tried(
        form, lambda: made.append(services.mix_set(today=today_here(), actor=request.user, **form.cleaned_data))
    ):
        messages.success(request, _("The mix is set."))
        for limited in limits_broken(mix=made[0], today=today_here()):
            messages.warning(request, limit_words(limited))
        return redirect("mixing:products")
    return _page(request, mix_form=form, status=422)


@require_POST
@owner_required
def mix_remove(request: HttpRequest, mix_id: int) -> HttpResponse:
    """A service takes a mix no more."""
    services.mix_remove(mix=mix_get(pk=mix_id), actor=request.user)
    return redirect("mixing:products")


@require_POST
@owner_required
def limit_set(request: HttpRequest) -> HttpResponse:
    """The strongest hypochlorite for a surface."""
    form = LimitForm(request.POST)
    if form.is_valid() and _tried(
        form, lambda: services.limit_set(checked_on=today_here(), actor=request.user, **form.cleaned_data)
    ):
        return redirect("mixing:products")
    return _page(request, limit_form=form, status=422)


@require_POST
@owner_required
def limits_start(request: HttpRequest) -> HttpResponse:
    """The starting limits, each with its footing."""
    services.limits_start(today=today_here(), actor=request.user)
    return redirect("mixing:products")


@require_POST
@owner_required
def direction(request: HttpRequest) -> HttpResponse:
    """In which order walls are gone over."""
    form = DirectionForm(request.POST)
    if form.is_valid():
        services.direction_set(actor=request.user, **form.cleaned_data)
    return redirect("mixing:products")


def _tried(form: forms.BaseForm, action: Any) -> bool:
    """Whether the service took it; otherwise the form says why."""
    try:
        action()
    except WalldayError as error:
        form.add_error(None, error.message)
    except ValidationError as error:
        form.add_error(None, [text for texts in error.message_dict.values() for text in texts])
    return not form.errors


def _page(request: HttpRequest, *, status: int = 200, **forms_given: forms.BaseForm) -> HttpResponse:
    today = today_here()
    rows = list(product_list())
    left = {row.product.pk: row for row in stock_at_hand(today=today)}
    context = {
        "rows": [
            (row, [_stock_words(stock, today) for stock in row.stocks.all()], left.get(row.pk))
            for row in rows
            if row.is_active
        ],
        "unused": [row for row in rows if not row.is_active],
        "mixes": mix_list(),
        "limits": limit_list(),
        "mix_form": MixForm(),
        "limit_form": LimitForm(),
        "direction_form": DirectionForm(initial={"direction": direction_now()}),
        "hauling": _hauling_words(rows),
        **forms_given,
    }
    return render(request, "mixing/products.html", context, status=status)


def _strip_form(stock_id: int, data: QueryDict | None = None) -> StripForm:
    """Each stock has its own on the page, so their fields have ids of their own."""
    return StripForm(data, initial={"read_on": today_here()}, auto_id=f"strip-{stock_id}-%s")


def _product_page(
    request: HttpRequest,
    row: Product,
    *,
    status: int = 200,
    strip_forms: Mapping[int, StripForm] | None = None,
    **given: Any,
) -> HttpResponse:
    today, sent = today_here(), strip_forms or {}
    context = {
        "product": row,
        "stocks": [
            _stock_words(stock, today) | {"strip_form": sent.get(stock.pk) or _strip_form(stock.pk)}
            for stock in row.stocks.all()
        ],
        "form": ProductForm(instance=row),
        "stock_form": StockForm(initial={"received_on": today, "storage_f": 75, "packages": 1}),
        "hauling": _hauling_words([row]),
        **given,
    }
    return render(request, "mixing/product.html", context, status=status)


def _stock_words(stock: Any, today: date) -> dict[str, Any]:
    """A stock as it came and as it is taken to be today."""
    now = stock_now_or_reason(stock=stock, today=today)
    known = now if isinstance(now, StockNow) else None
    return {
        "stock": stock,
        "gravity": f"{stock.gravity_thousandths / 1000:g}" if stock.gravity_thousandths else "",
        "came_as": strength_words(stock.basis_points, stock.basis),
        "now": known,
        "now_words": strength_words(known.strength.basis_points, known.strength.basis) if known else "",
        "why_not": "" if known else reason_words(str(now)),
        "is_too_large": is_too_large_to_haul(stock),
    }


def _hauling_words(rows: list[Product]) -> str:
    """Whether everything corrosive that is at hand would be too much for one truck."""
    packages = [
        (stock.package_ml, stock.gravity_thousandths)
        for row in rows
        if row.is_corrosive
        for stock in row.stocks.all()
        for _number in range(stock.packages)
    ]
    if not load_is_too_heavy(packages):
        return ""
    return _(
        "All of the corrosives at hand weigh more than the 440 lb (200 kg) that one truck may carry under the "
        "materials-of-trade exception (49 CFR 173.6(d), from memory; not legal advice)."
    )
