"""Products, stocks, strips and mixes for programs, and a mix reckoned from figures alone."""

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
from jobs.mixing.choices import BasisChoice, ChemistryChoice, Way
from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.plan import MixWish, mix_plan
from jobs.mixing.domain.strength import Basis, CannotMix, Strength
from jobs.mixing.errors import MixRefused
from jobs.mixing.models import Mix, Product, Stock
from jobs.mixing.selectors import StockNow, mix_list, product_get, product_list, stock_get, stock_now_or_reason
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
    today_basis_points = serializers.SerializerMethodField(help_text="Null where nobody can say")
    today_source = serializers.SerializerMethodField(help_text="bought, strip or estimated; or why nobody can say")

    def _now(self, stock: Stock) -> StockNow | str:
        return stock_now_or_reason(stock=stock, today=today_here())

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


class StockInput(serializers.Serializer[Any]):
    received_on = serializers.DateField(required=False, help_text="Default: today")
    basis_points = _points()
    basis = _basis()
    gravity_thousandths = serializers.IntegerField(min_value=700, max_value=2_000, required=False, allow_null=True)
    storage_f = serializers.IntegerField(min_value=-20, max_value=130, default=75)
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
    target_basis_points = _points()
    target_basis = _basis()
    way = serializers.ChoiceField(choices=Way.choices)
    surface_ml_per_100_units = serializers.IntegerField(min_value=1, max_value=MOST_ML)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


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
    storage_f = serializers.IntegerField(min_value=-20, max_value=130, default=75)
    target_basis_points = _points()
    target_basis = _basis(required=False)
    surface_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML)
    drawn_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)
    out_ml = serializers.IntegerField(min_value=1, max_value=MOST_ML, required=False, allow_null=True)


class ReckonOutput(serializers.Serializer[Any]):
    stock_today_basis_points = serializers.IntegerField()
    is_reached = serializers.BooleanField(help_text="False: the injector cannot; the figures are of undiluted stock")
    surface_basis_points = serializers.IntegerField()
    stock_ml = serializers.IntegerField()
    water_ml = serializers.IntegerField(help_text="Into the jug or the batch")
    hose_water_ml = serializers.IntegerField()
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
        if not OwnerOnly().has_permission(request, self):
            self.permission_denied(request)
        body = ProductInput(data=request.data)
        body.is_valid(raise_exception=True)
        row = services.product_save(actor=request.user, **body.validated_data)
        return Response(ProductOutput(product_get(pk=row.pk)).data, status=201)


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
        if not OwnerOnly().has_permission(request, self):
            self.permission_denied(request)
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
        data = query.validated_data
        try:
            stock = Strength(data["stock_basis_points"], Basis(data["basis"]), data.get("gravity_thousandths"))
            now = strength_after(stock, data["age_days"], data["storage_f"]) if data["age_days"] else stock
            drawn, out = data.get("drawn_ml"), data.get("out_ml")
            injector = Injector(drawn or 0, out or 0) if drawn or out else None
        except CannotMix as error:
            raise MixRefused.of(error) from error
        wish = MixWish(
            data["target_basis_points"],
            Basis(data.get("target_basis") or data["basis"]),
            "injector" if injector else "at_house",
            100,
        )
        plan = mix_plan(wish, now, injector, data["surface_ml"])
        if plan.stop:
            raise MixRefused(plan.stop)
        fields = ("is_reached", "surface_basis_points", "stock_ml", "water_ml", "hose_water_ml", "water_parts")
        return Response({"stock_today_basis_points": now.basis_points} | {name: getattr(plan, name) for name in fields})


urlpatterns = [
    path("products/", Products.as_view(), name="api_product_list"),
    path("products/<row:product_id>/stocks/", stocks, name="api_product_stocks"),
    path("stocks/<row:stock_id>/strips/", strips, name="api_stock_strips"),
    path("mixes/", Mixes.as_view(), name="api_mix_list"),
    path("mixes/reckon/", Reckon.as_view(), name="api_mix_reckon"),
]
