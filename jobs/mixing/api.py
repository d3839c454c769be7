"""Products, stocks, strips and mixes for programs, and a mix reckoned from figures alone."""

from dataclasses import asdict
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.mixing import services
from jobs.mixing.at_hand import stock_at_hand
from jobs.mixing.choices import BasisChoice, ChemistryChoice, Direction, Surface, Way
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.reckoning import MixAnswer, MixQuestion, mix_reckon
from jobs.mixing.domain.strength import CHLORINE, Basis, CannotMix, Strength, points_by_label
from jobs.mixing.errors import MixRefused
from jobs.mixing.models import COLDEST_F, WARMEST_F, Mix, Product, Stock, SurfaceLimit
from jobs.mixing.selectors import (
    Limited,
    StockNow,
    direction_now,
    is_too_large_to_haul,
    limit_list,
    limited,
    limits_by_surface,
    mix_get,
    mix_list,
    product_get,
    product_list,
    stock_get,
    stock_now_or_reason,
)
from pricing.catalogue.models import Service
from shared.api_kit.permissions import OfficeOnly, OwnerOnly
from shared.web.present import today_here

MOST_ML = 10_000_000


def _basis(**kwargs: Any) -> serializers.ChoiceField:
    return serializers.ChoiceField(choices=BasisChoice.choices, help_text="What the percentage is of", **kwargs)


def _points(**kwargs: Any) -> serializers.IntegerField:
    return serializers.IntegerField(min_value=1, max_value=10_000, help_text="0.01 %", **kwargs)


class StockOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    received_on = serializers.DateField()
    basis_points = serializers.IntegerField(help_text="When it came, 0.01 %")
    basis = serializers.CharField()
    gravity_thousandths = serializers.IntegerField(allow_null=True)
    storage_f = serializers.IntegerField()
    package_ml = serializers.IntegerField()
    packages = serializers.IntegerField()
    is_too_large_to_haul = serializers.SerializerMethodField(
        help_text="A package of a corrosive is outside the materials-of-trade exception, 49 CFR 173.6; not legal advice"
    )
    today_basis_points = serializers.SerializerMethodField(help_text="Null where nobody can say")
    today_source = serializers.SerializerMethodField(help_text="bought, strip or estimated; or why nobody can say")

    def _now(self, stock: Stock) -> StockNow | str:
        return stock_now_or_reason(stock=stock, today=today_here())

    def get_is_too_large_to_haul(self, stock: Stock) -> bool:
        return is_too_large_to_haul(stock)

    def get_today_basis_points(self, stock: Stock) -> int | None:
        now = self._now(stock)
        return now.strength.basis_points if isinstance(now, StockNow) else None

    def get_today_source(self, stock: Stock) -> str:
        now = self._now(stock)
        return now.source if isinstance(now, StockNow) else now


class ProductOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    chemistry = serializers.CharField()
    label_words = serializers.CharField()
    strongest_basis_points = serializers.IntegerField(allow_null=True)
    strongest_basis = serializers.CharField()
    dwell_minutes = serializers.IntegerField(allow_null=True)
    is_corrosive = serializers.BooleanField()
    is_active = serializers.BooleanField()
    stocks = StockOutput(source="stocks.all", many=True)


class AtHandOutput(serializers.Serializer[Any]):
    product = serializers.IntegerField(source="product.pk")
    name = serializers.CharField(source="product.name")
    delivered_ml = serializers.IntegerField(help_text="What came in the open deliveries")
    used_ml = serializers.IntegerField(help_text="What the jobs done since take by their mixes; reckoned, not measured")
    left_ml = serializers.IntegerField()
    since = serializers.DateField(help_text="Day from which jobs done count")


class ProductInput(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=60)
    chemistry = serializers.ChoiceField(choices=ChemistryChoice.choices)
    label_words = serializers.CharField(max_length=1000, required=False, allow_blank=True)
    label_read_on = serializers.DateField(required=False, allow_null=True)
    strongest_basis_points = _points(required=False, allow_null=True)
    strongest_basis = _basis(required=False, allow_blank=True)
    dwell_minutes = serializers.IntegerField(min_value=0, max_value=1_440, required=False, allow_null=True)
    data_sheet = serializers.CharField(max_length=200, required=False, allow_blank=True)
    is_corrosive = serializers.BooleanField(required=False)
    is_active = serializers.BooleanField(required=False, help_text="False: the company uses it no more")


class StockInput(serializers.Serializer[Any]):
    received_on = serializers.DateField(required=False, help_text="Default: today")
    basis_points = _points()
    basis = _basis()
    gravity_thousandths = serializers.IntegerField(min_value=700, max_value=2_000, required=False, allow_null=True)
    storage_f = serializers.IntegerField(min_value=COLDEST_F, max_value=WARMEST_F, default=75)
    package_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML)
    packages = serializers.IntegerField(min_value=1, max_value=500, default=1)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class StripInput(serializers.Serializer[Any]):
    read_on = serializers.DateField(required=False, help_text="Default: today")
    basis_points = _points()
    basis = _basis()


class MixInput(serializers.Serializer[Any]):
    service = serializers.SlugRelatedField(slug_field="code", queryset=Service.objects.all())
    position = serializers.IntegerField(min_value=1, max_value=9, default=1)
    product = serializers.PrimaryKeyRelatedField(queryset=Product.objects.filter(is_active=True))
    target_basis_points = _points(required=False)
    target_basis = _basis(required=False)
    label_water_parts = serializers.FloatField(
        min_value=0, max_value=9_999, required=False, help_text="In place of the two: parts of water to one part"
    )
    way = serializers.ChoiceField(choices=Way.choices)
    surface_ml_per_100_units = serializers.IntegerField(min_value=1, max_value=MOST_ML)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        parts = attrs.pop("label_water_parts", None)
        if (parts is None) == ("target_basis_points" not in attrs):
            raise serializers.ValidationError("Give either target_basis_points or label_water_parts.")
        if parts is None:
            return {"target_basis": "", **attrs}
        return attrs | {"target_basis_points": points_by_label(parts), "target_basis": Basis.VOLUME.value}


class MixOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    service = serializers.SlugField(source="service.code")
    position = serializers.IntegerField()
    product = serializers.IntegerField(source="product_id")
    product_name = serializers.CharField(source="product.name")
    target_basis_points = serializers.IntegerField()
    target_basis = serializers.CharField()
    way = serializers.CharField()
    surface_ml_per_100_units = serializers.IntegerField()


class ReckonInput(serializers.Serializer[Any]):
    """A stock, what is wanted at the surface, and a batch or an injector's measured draw."""

    stock_basis_points = _points()
    basis = _basis()
    gravity_thousandths = serializers.IntegerField(min_value=700, max_value=2_000, required=False, allow_null=True)
    age_days = serializers.IntegerField(min_value=0, max_value=3_650, default=0, help_text="Hypochlorite fades")
    storage_f = serializers.IntegerField(min_value=COLDEST_F, max_value=WARMEST_F, default=75)
    target_basis_points = _points()
    target_basis = _basis(required=False)
    surface_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML)
    drawn_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    out_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    surface = serializers.ChoiceField(
        choices=Surface.choices, required=False, help_text="Compare with the owner's limit for it"
    )

    @property
    def question(self) -> MixQuestion:
        """Raises CannotMix."""
        data = self.validated_data
        basis, drawn, out = Basis(data["basis"]), data.get("drawn_ml"), data.get("out_ml")
        return MixQuestion(
            stock=Strength(data["stock_basis_points"], basis, data.get("gravity_thousandths")),
            target_basis_points=data["target_basis_points"],
            target_basis=Basis(data.get("target_basis") or basis),
            surface_ml=data["surface_ml"],
            age_days=data["age_days"],
            storage_f=data["storage_f"],
            injector=Injector(drawn or 0, out or 0) if drawn or out else None,
        )


class LimitOutput(serializers.Serializer[SurfaceLimit]):
    surface = serializers.CharField()
    basis_points = serializers.IntegerField(help_text="At most, 0.01 %")
    basis = serializers.CharField()
    footing = serializers.CharField(help_text="Who says so")
    checked_on = serializers.DateField()


class LimitInput(serializers.Serializer[Any]):
    surface = serializers.ChoiceField(choices=Surface.choices)
    basis_points = _points()
    basis = serializers.ChoiceField(
        choices=[choice for choice in BasisChoice.choices if choice[0] in CHLORINE],
        help_text="What the percentage is of",
    )
    footing = serializers.CharField(max_length=300, help_text="Who says so")


class WorkOrderInput(serializers.Serializer[Any]):
    direction = serializers.ChoiceField(choices=Direction.choices)


class ReckonOutput(serializers.Serializer[Any]):
    stock_today_basis_points = serializers.IntegerField()
    is_reached = serializers.BooleanField(help_text="False: the injector cannot; the figures are of undiluted stock")
    surface_basis_points = serializers.IntegerField()
    stock_ml = serializers.IntegerField()
    water_ml = serializers.IntegerField(help_text="Into the jug or the batch")
    hose_water_ml = serializers.IntegerField()
    strongest_basis_points = serializers.IntegerField(help_text="The most that the injector brings; 0 without one")
    limit = LimitOutput(allow_null=True, help_text="Of the surface, where one holds")
    is_above_limit = serializers.BooleanField()
    water_parts = serializers.FloatField(help_text="Parts of water to one part of stock, in the jug or the batch")


class Products(generics.ListAPIView[Product]):
    permission_classes = (OfficeOnly,)
    serializer_class = ProductOutput
    queryset = Product.objects.none()

    def get_queryset(self) -> QuerySet[Product]:
        return product_list()

    @extend_schema(operation_id="product_list", summary="Products with their stocks as they are today")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="product_create",
        request=ProductInput,
        responses={201: ProductOutput},
        summary="Write down a product from its label; the owner's",
    )
    def post(self, request: Request) -> Response:
        _require_owner(request, self)
        body = ProductInput(data=request.data)
        body.is_valid(raise_exception=True)
        row = services.product_save(actor=request.user, **body.validated_data)
        return Response(ProductOutput(product_get(pk=row.pk)).data, status=201)


@extend_schema(
    operation_id="product_change",
    methods=["PATCH"],
    request=ProductInput(partial=True),
    responses=ProductOutput,
    summary="Change what is written down of a product; the owner's",
    description="What is left out stays. `is_active` false answers 409 `still_in_use` while a service takes it.",
)
@api_view(["PATCH"])
@permission_classes([OwnerOnly])
def product(request: Request, product_id: int) -> Response:
    row = product_get(pk=product_id)
    body = ProductInput(data=request.data, partial=True)
    body.is_valid(raise_exception=True)
    services.product_save(product=row, actor=request.user, **body.validated_data)
    return Response(ProductOutput(product_get(pk=product_id)).data)


@extend_schema(
    operation_id="stock_receive",
    request=StockInput,
    responses={201: ProductOutput},
    summary="A delivery came",
    description="Answers 422 `mix_refused` for a basis by weight without a specific gravity.",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def stocks(request: Request, product_id: int) -> Response:
    row = product_get(pk=product_id)
    body = StockInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = {"received_on": today_here(), **body.validated_data}
    services.stock_receive(product=row, today=today_here(), actor=request.user, **data)
    return Response(ProductOutput(product_get(pk=product_id)).data, status=201)


@extend_schema(
    operation_id="strip_record",
    request=StripInput,
    responses={201: ProductOutput},
    summary="What a test strip said of a stock",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
def strips(request: Request, stock_id: int) -> Response:
    row = stock_get(pk=stock_id)
    body = StripInput(data=request.data)
    body.is_valid(raise_exception=True)
    data = {"read_on": today_here(), **body.validated_data}
    services.strip_record(stock=row, today=today_here(), actor=request.user, **data)
    return Response(ProductOutput(product_get(pk=row.product_id)).data, status=201)


@extend_schema(operation_id="stock_use_up", request=None, responses=ProductOutput, summary="Nothing is left of a stock")
@api_view(["POST"])
@permission_classes([OfficeOnly])
def used_up(request: Request, stock_id: int) -> Response:
    row = services.stock_use_up(stock=stock_get(pk=stock_id), today=today_here(), actor=request.user)
    return Response(ProductOutput(product_get(pk=row.product_id)).data)


@extend_schema(
    operation_id="mix_remove", request=None, responses={204: None}, summary="A service takes a mix no more; the owner's"
)
@api_view(["DELETE"])
@permission_classes([OwnerOnly])
def mix(request: Request, mix_id: int) -> Response:
    services.mix_remove(mix=mix_get(pk=mix_id), actor=request.user)
    return Response(status=204)


class Mixes(generics.ListAPIView[Mix]):
    permission_classes = (OfficeOnly,)
    serializer_class = MixOutput
    queryset = Mix.objects.none()

    def get_queryset(self) -> QuerySet[Mix]:
        return mix_list()

    @extend_schema(operation_id="mix_list", summary="What each service takes")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="mix_set",
        request=MixInput,
        responses={201: MixOutput},
        summary="What a service takes in a position; the owner's",
        description="Answers 422 `mix_refused` for a target above the stock or above the label.",
    )
    def post(self, request: Request) -> Response:
        _require_owner(request, self)
        body = MixInput(data=request.data)
        body.is_valid(raise_exception=True)
        row = services.mix_set(today=today_here(), actor=request.user, **body.validated_data)
        return Response(MixOutput(row).data, status=201)


class Reckon(APIView):
    permission_classes = (OfficeOnly,)
    problem_statuses = (422,)

    @extend_schema(
        operation_id="mix_reckon",
        parameters=[ReckonInput],
        responses=ReckonOutput,
        summary="Reckon one mix",
        description="Stores nothing. Answers 422 `mix_refused` with the reason where it cannot be mixed.",
    )
    def get(self, request: Request) -> Response:
        query = ReckonInput(data=request.query_params)
        query.is_valid(raise_exception=True)
        try:
            question = query.question
            answer = mix_reckon(question)
        except CannotMix as error:
            raise MixRefused.of(error) from error
        found = _limit(query.validated_data.get("surface"), question, answer)
        body = {
            **asdict(answer.plan),
            "stock_today_basis_points": answer.now.basis_points,
            "limit": found.limit if found else None,
            "is_above_limit": found is not None and found.is_above,
        }
        return Response(ReckonOutput(body).data)


def _limit(surface: str | None, question: MixQuestion, answer: MixAnswer) -> Limited | None:
    if not surface or question.target_basis not in CHLORINE:
        return None
    wanted = Strength(question.target_basis_points, question.target_basis)
    return limited(limits_by_surface(), surface, wanted, answer.now)


class Limits(generics.ListAPIView[SurfaceLimit]):
    permission_classes = (OfficeOnly,)
    serializer_class = LimitOutput
    queryset = SurfaceLimit.objects.none()

    def get_queryset(self) -> QuerySet[SurfaceLimit]:
        return limit_list()

    @extend_schema(operation_id="limit_list", summary="Limits at the surface, each with its footing")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="limit_set",
        request=LimitInput,
        responses={201: LimitOutput},
        summary="Set the limit of a surface; the owner's",
    )
    def post(self, request: Request) -> Response:
        _require_owner(request, self)
        body = LimitInput(data=request.data)
        body.is_valid(raise_exception=True)
        row = services.limit_set(checked_on=today_here(), actor=request.user, **body.validated_data)
        return Response(LimitOutput(row).data, status=201)


class WorkOrders(APIView):
    permission_classes = (OfficeOnly,)

    @extend_schema(operation_id="work_order", responses=WorkOrderInput, summary="The way over a wall")
    def get(self, request: Request) -> Response:
        return Response({"direction": direction_now()})

    @extend_schema(
        operation_id="work_order_set",
        request=WorkOrderInput,
        responses=WorkOrderInput,
        summary="Choose the way over a wall; the owner's",
    )
    def put(self, request: Request) -> Response:
        _require_owner(request, self)
        body = WorkOrderInput(data=request.data)
        body.is_valid(raise_exception=True)
        services.direction_set(actor=request.user, **body.validated_data)
        return Response({"direction": direction_now()})


def _require_owner(request: Request, view: APIView) -> None:
    if not OwnerOnly().has_permission(request, view):
        view.permission_denied(request)


@extend_schema(
    operation_id="stock_at_hand",
    responses=AtHandOutput(many=True),
    summary="What is left of each product with an open delivery, as reckoned",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def at_hand(request: Request) -> Response:
    return Response(AtHandOutput(stock_at_hand(today=today_here()), many=True).data)


urlpatterns = [
    path("stock-at-hand/", at_hand, name="api_stock_at_hand"),
    path("products/", Products.as_view(), name="api_product_list"),
    path("products/<row:product_id>/stocks/", stocks, name="api_product_stocks"),
    path("products/<row:product_id>/", product, name="api_product"),
    path("stocks/<row:stock_id>/strips/", strips, name="api_stock_strips"),
    path("stocks/<row:stock_id>/used-up/", used_up, name="api_stock_used_up"),
    path("mixes/", Mixes.as_view(), name="api_mix_list"),
    path("mixes/<row:mix_id>/", mix, name="api_mix"),
    path("mixes/reckon/", Reckon.as_view(), name="api_mix_reckon"),
    path("limits/", Limits.as_view(), name="api_limit_list"),
    path("work-order/", WorkOrders.as_view(), name="api_work_order"),
]
