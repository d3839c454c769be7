"""Customers and properties for programs, and the imports."""

from typing import Any

from django.db.models import QuerySet
from django.http import FileResponse
from django.http.response import HttpResponseBase
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.decorators import api_view, parser_classes, permission_classes
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.customers import services
from jobs.customers.domain.dates import DateOrder
from jobs.customers.domain.facing import TURNS, facing_of_side
from jobs.customers.domain.faults import Fault, UnreadableFile
from jobs.customers.domain.houses import Doubt
from jobs.customers.domain.tables import MAX_FILE_BYTES
from jobs.customers.domain.values import read_phone
from jobs.customers.errors import FileUnreadable
from jobs.customers.models import Customer, Language, LookupOutcome, Property, Purpose, Wall
from jobs.customers.selectors import (
    consent_list,
    customer_get,
    customer_list,
    lookalikes,
    property_get,
    property_list,
    twin_list,
    wall_get,
)
from jobs.customers.views.customers import consent_said
from shared import clock
from shared.api_kit.permissions import OfficeOnly
from shared.company.selectors import company_get
from shared.errors import NotFound, Refused
from shared.outbox.models import Channel


class WordsQuery(serializers.Serializer[Any]):
    words = serializers.CharField(required=False, max_length=80, help_text="Each word must occur")


class WallOutput(serializers.ModelSerializer[Wall]):
    property = serializers.IntegerField(source="property_id", read_only=True)

    class Meta:
        model = Wall
        fields: tuple[str, ...] = (
            "id", "property", "name", "kind", "material", "colour", "lightness_percent", "facing_degrees", "area_sqft",
            "storeys", "shade", "year_fitted", "old_paint",
        )  # fmt: skip


class WallInput(WallOutput):
    """Its facing is a compass reading, or its side as seen from the street."""

    side = serializers.ChoiceField(
        choices=[*TURNS],
        required=False,
        write_only=True,
        help_text="instead of facing_degrees, where the property says which way its street side looks",
    )

    class Meta(WallOutput.Meta):
        fields = (*WallOutput.Meta.fields[2:], "side")

    def to_fields(self, place: Property) -> dict[str, Any]:
        """The fields that were given, with the facing of the side. Raises Refused where the front is not known."""
        fields = dict(self.validated_data)
        side = fields.pop("side", "")
        if side and fields.get("facing_degrees") is None:
            if place.front_degrees is None:
                raise Refused(_("Write first, at the property, which way its street side looks."))
            fields["facing_degrees"] = facing_of_side(place.front_degrees, side)
        return fields


class PropertyOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    reference = serializers.CharField(allow_null=True)
    customer = serializers.IntegerField(source="customer_id")
    customer_name = serializers.CharField(source="customer.name")
    street = serializers.CharField()
    city = serializers.CharField()
    region = serializers.CharField()
    postal_code = serializers.CharField()
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)
    storeys = serializers.IntegerField()
    year_built = serializers.IntegerField(allow_null=True)
    front_degrees = serializers.IntegerField(allow_null=True)
    gate_note = serializers.CharField()
    pet_note = serializers.CharField()
    note = serializers.CharField()


class PropertyDetail(PropertyOutput):
    walls = WallOutput(source="walls.all", many=True)


class CustomerOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    reference = serializers.CharField(allow_null=True)
    name = serializers.CharField()
    email = serializers.CharField()
    phone_e164 = serializers.CharField()
    language = serializers.ChoiceField(choices=Language.choices)
    source = serializers.CharField()  # type: ignore[assignment]
    note = serializers.CharField()
    properties = serializers.SerializerMethodField(help_text="Ids, by street")

    def get_properties(self, customer: Customer) -> list[int]:
        return [place.pk for place in customer.properties.all()]


class CustomerInput(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    reference = serializers.CharField(max_length=40, required=False, allow_null=True)
    email = serializers.EmailField(required=False, allow_blank=True)
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True, help_text="As people write it")
    language = serializers.ChoiceField(choices=Language.choices, required=False)
    source = serializers.CharField(max_length=60, required=False, allow_blank=True)  # type: ignore[assignment]
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "phone" in attrs:
            number = read_phone(attrs.pop("phone"), "phone", region=company_get().country)
            if isinstance(number, Fault):
                raise serializers.ValidationError({"phone": f"{number.problem_text()} {number.advice_text()}"})
            attrs["phone_e164"] = number
        return attrs


class ConsentInput(serializers.Serializer[Any]):
    channel = serializers.ChoiceField(choices=Channel.choices)
    purpose = serializers.ChoiceField(choices=Purpose.choices, default=Purpose.ALL)
    given = serializers.BooleanField(help_text="false: opted out; what waits for them is dropped at once")
    wording = serializers.CharField(max_length=500, required=False, default="", allow_blank=True)
    source = serializers.CharField(max_length=60, help_text="Where they said so: call, form, reply")  # type: ignore[assignment]


class ConsentOutput(serializers.Serializer[Any]):
    channel = serializers.ChoiceField(choices=Channel.choices)
    purpose = serializers.ChoiceField(choices=Purpose.choices)
    given = serializers.BooleanField()
    wording = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    at = serializers.DateTimeField()


class MergeInput(serializers.Serializer[Any]):
    other = serializers.PrimaryKeyRelatedField(
        queryset=Customer.objects.all(), help_text="The entry that is the same customer and goes"
    )
    dry_run = serializers.BooleanField(default=True, help_text="Say what would happen and change nothing")


class OptOutOutput(serializers.Serializer[Any]):
    channel = serializers.ChoiceField(choices=Channel.choices)
    purpose = serializers.ChoiceField(choices=Purpose.choices)


class HouseJoinOutput(serializers.Serializer[Any]):
    """A house that both entries have: what goes from its second row to the first."""

    property = serializers.IntegerField(help_text="the row that goes")
    into = serializers.IntegerField(help_text="the row that stays")
    jobs = serializers.IntegerField()
    reminders = serializers.IntegerField()
    walls = serializers.ListField(child=serializers.IntegerField(), help_text="Those that move")
    walls_joined = serializers.ListField(child=serializers.IntegerField(), help_text="Those that both rows have")
    readings = serializers.IntegerField(help_text="Chalk readings written anew for the wall that stays")


class OneHouseInput(serializers.Serializer[Any]):
    other = serializers.IntegerField(min_value=1, help_text="The entry that is the same house and goes")
    dry_run = serializers.BooleanField(default=True, help_text="Say what would happen and change nothing")
    sure = serializers.BooleanField(default=False, help_text="It is one house, whatever `doubts` says")


class OneHouseOutput(HouseJoinOutput):
    """What making one of two entries of a house does, or did; nothing of it where there are obstacles."""

    obstacles = serializers.ListField(child=serializers.CharField())
    doubts = serializers.ListField(
        child=serializers.ChoiceField(choices=[each.value for each in Doubt]), help_text="What speaks for two houses"
    )
    noted = serializers.ListField(child=serializers.CharField(), help_text="Goes into the note of the one that stays")
    called_off = serializers.IntegerField(help_text="Reminders that waited for the entry that goes")


class TwinsOutput(serializers.Serializer[Any]):
    first = serializers.IntegerField(source="first.pk")
    second = serializers.IntegerField(source="second.pk")


class MergeOutput(serializers.Serializer[Any]):
    """What merging does, or did; nothing of it where there are obstacles."""

    keep = serializers.IntegerField()
    other = serializers.IntegerField()
    obstacles = serializers.ListField(child=serializers.CharField())
    properties = serializers.ListField(child=serializers.IntegerField(), help_text="Those that move")
    properties_joined = HouseJoinOutput(many=True, help_text="Those that both have")
    jobs = serializers.IntegerField()
    reminders = serializers.IntegerField()
    called_off = serializers.IntegerField(help_text="Reminders that waited for the other entry")
    taken_over = serializers.ListField(child=serializers.CharField(), help_text="Fields that were blank")
    noted = serializers.ListField(child=serializers.CharField())
    opt_outs = OptOutOutput(many=True)


class LookOutput(serializers.Serializer[Any]):
    first = serializers.IntegerField(source="first.pk")
    second = serializers.IntegerField(source="second.pk")
    facts = serializers.ListField(child=serializers.CharField(), help_text="phone, email or house")


class PropertyInput(serializers.Serializer[Any]):
    customer = serializers.PrimaryKeyRelatedField(queryset=Customer.objects.filter(merged_into__isnull=True))
    street = serializers.CharField(max_length=120)
    reference = serializers.CharField(max_length=40, required=False, allow_null=True)
    city = serializers.CharField(max_length=80, required=False, allow_blank=True)
    region = serializers.CharField(max_length=40, required=False, allow_blank=True)
    postal_code = serializers.CharField(max_length=20, required=False, allow_blank=True)
    latitude = serializers.FloatField(min_value=-90, max_value=90, required=False, allow_null=True)
    longitude = serializers.FloatField(min_value=-180, max_value=180, required=False, allow_null=True)
    storeys = serializers.IntegerField(min_value=1, max_value=4, required=False)
    year_built = serializers.IntegerField(min_value=1600, max_value=2100, required=False, allow_null=True)
    front_degrees = serializers.IntegerField(
        min_value=0, max_value=359, required=False, allow_null=True, help_text="Where the street side looks to"
    )
    gate_note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    pet_note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)


class Customers(generics.ListAPIView[Customer]):
    permission_classes = (OfficeOnly,)
    serializer_class = CustomerOutput
    queryset = Customer.objects.none()
    problem_statuses = (409, 422)

    def get_queryset(self) -> QuerySet[Customer]:
        query = WordsQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return customer_list(**query.validated_data)

    @extend_schema(operation_id="customer_list", parameters=[WordsQuery], summary="Customers by name")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="customer_create",
        request=CustomerInput,
        responses={201: CustomerOutput},
        summary="Take down a new customer",
    )
    def post(self, request: Request) -> Response:
        body = CustomerInput(data=request.data)
        body.is_valid(raise_exception=True)
        made = services.customer_create(actor=request.user, **body.validated_data)
        return Response(CustomerOutput(customer_get(pk=made.pk)).data, status=201)


class CustomerView(generics.GenericAPIView[Customer]):
    permission_classes = (OfficeOnly,)
    serializer_class = CustomerOutput
    queryset = Customer.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(operation_id="customer_get", summary="One customer")
    def get(self, request: Request, customer_id: int) -> Response:
        return Response(CustomerOutput(customer_get(pk=customer_id)).data)

    @extend_schema(
        operation_id="customer_update", request=CustomerInput, summary="Change a customer; what is left out stays"
    )
    def patch(self, request: Request, customer_id: int) -> Response:
        found = customer_get(pk=customer_id)
        body = CustomerInput(data=request.data, partial=True)
        body.is_valid(raise_exception=True)
        services.customer_update(customer=found, actor=request.user, **body.validated_data)
        return Response(CustomerOutput(customer_get(pk=customer_id)).data)


class Properties(generics.ListAPIView[Property]):
    permission_classes = (OfficeOnly,)
    serializer_class = PropertyOutput
    queryset = Property.objects.none()
    problem_statuses = (409, 422)

    def get_queryset(self) -> QuerySet[Property]:
        query = WordsQuery(data=self.request.query_params)
        query.is_valid(raise_exception=True)
        return property_list(**query.validated_data)

    @extend_schema(operation_id="property_list", parameters=[WordsQuery], summary="Properties by street")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="property_create",
        request=PropertyInput,
        responses={201: PropertyDetail},
        summary="Take down a property of a customer",
    )
    def post(self, request: Request) -> Response:
        body = PropertyInput(data=request.data)
        body.is_valid(raise_exception=True)
        made = services.property_create(actor=request.user, **body.validated_data)
        return Response(PropertyDetail(property_get(pk=made.pk)).data, status=201)


class PlaceInput(serializers.Serializer[Any]):
    latitude = serializers.FloatField(min_value=-90, max_value=90, allow_null=True)
    longitude = serializers.FloatField(min_value=-180, max_value=180, allow_null=True)


class LookupOutput(serializers.Serializer[Any]):
    outcome = serializers.ChoiceField(choices=LookupOutcome.choices)
    address = serializers.CharField(help_text="As it was asked for")
    latitude = serializers.FloatField(allow_null=True, help_text="The place that was taken, if any")
    longitude = serializers.FloatField(allow_null=True)
    candidates = serializers.ListField(child=serializers.DictField(), help_text="What the register offered, best first")


class Consents(generics.GenericAPIView[Customer]):
    permission_classes = (OfficeOnly,)
    serializer_class = ConsentInput
    queryset = Customer.objects.none()
    pagination_class = None

    @extend_schema(
        operation_id="customer_consents",
        responses=ConsentOutput(many=True),
        summary="What a customer said about being written to, newest first",
        description="Nothing is ever changed or removed; of two answers the later counts, in doubt the no.",
    )
    def get(self, request: Request, customer_id: int) -> Response:
        return Response(ConsentOutput(consent_list(customer=customer_get(pk=customer_id)), many=True).data)

    @extend_schema(
        operation_id="customer_consent_record",
        responses={201: ConsentOutput(many=True)},
        summary="Write down that a customer agreed, or wants no more messages",
    )
    def post(self, request: Request, customer_id: int) -> Response:
        found, body = customer_get(pk=customer_id), ConsentInput(data=request.data)
        body.is_valid(raise_exception=True)
        consent_said(customer=found, actor=request.user, **body.validated_data)
        return Response(ConsentOutput(consent_list(customer=found), many=True).data, status=201)


class MergeView(generics.GenericAPIView[Customer]):
    permission_classes = (OfficeOnly,)
    serializer_class = MergeInput
    queryset = Customer.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(
        operation_id="customer_merge", responses=MergeOutput, summary="Make one of two entries of a customer"
    )
    def post(self, request: Request, customer_id: int) -> Response:
        body = MergeInput(data=request.data)
        body.is_valid(raise_exception=True)
        keep, other = customer_get(pk=customer_id), body.validated_data["other"]
        if body.validated_data["dry_run"]:
            plan = services.merge_plan(keep=keep, other=other)
        else:
            plan = services.customer_merge(keep=keep, other=other, actor=request.user, now=clock.now())
        return Response(MergeOutput(plan.as_json()).data)


class OneHouseView(generics.GenericAPIView[Property]):
    permission_classes = (OfficeOnly,)
    serializer_class = OneHouseInput
    queryset = Property.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(
        operation_id="property_join",
        responses=OneHouseOutput,
        summary="Make one of two entries of a customer's house",
        description="Where they look like two houses it is refused without `sure`. It cannot be taken back.",
    )
    def post(self, request: Request, property_id: int) -> Response:
        body = OneHouseInput(data=request.data)
        body.is_valid(raise_exception=True)
        wanted = body.validated_data
        keep, other = property_get(pk=property_id), property_get(pk=wanted["other"])
        if wanted["dry_run"]:
            plan = services.one_house_plan(keep=keep, other=other)
        else:
            plan = services.one_house(keep=keep, other=other, sure=wanted["sure"], actor=request.user, now=clock.now())
        return Response(OneHouseOutput(plan.as_json()).data)


@extend_schema(
    operation_id="property_twins",
    responses=TwinsOutput(many=True),
    summary="Entries of one customer that have one address",
    description="At most 500 pairs.",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def property_twins(request: Request) -> Response:
    return Response(TwinsOutput(twin_list()[:500], many=True).data)


@extend_schema(
    operation_id="customer_lookalikes",
    responses=LookOutput(many=True),
    summary="Entries that may be the same customer",
    description="Those with most in common first, at most 500.",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def lookalike_list(request: Request) -> Response:
    return Response(LookOutput(lookalikes()[:500], many=True).data)


class PlaceView(generics.GenericAPIView[Property]):
    permission_classes = (OfficeOnly,)
    serializer_class = PlaceInput
    queryset = Property.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(operation_id="property_place_set", responses=PropertyDetail, summary="Say where a property is")
    def put(self, request: Request, property_id: int) -> Response:
        found = property_get(pk=property_id)
        body = PlaceInput(data=request.data)
        body.is_valid(raise_exception=True)
        services.property_update(place=found, actor=request.user, **body.validated_data)
        return Response(PropertyDetail(property_get(pk=property_id)).data)


class LookupView(generics.GenericAPIView[Property]):
    permission_classes = (OfficeOnly,)
    serializer_class = LookupOutput
    queryset = Property.objects.none()
    problem_statuses = (409, 422, 503)

    @extend_schema(
        operation_id="property_place_look_up",
        request=None,
        responses=LookupOutput,
        summary="Ask the address register where a property without a place is",
    )
    def post(self, request: Request, property_id: int) -> Response:
        lookup = services.place_find(place=property_get(pk=property_id), actor=request.user)
        return Response(LookupOutput(lookup).data)


class PropertyView(generics.GenericAPIView[Property]):
    permission_classes = (OfficeOnly,)
    serializer_class = PropertyDetail
    queryset = Property.objects.none()

    @extend_schema(operation_id="property_get", summary="One property with its walls")
    def get(self, request: Request, property_id: int) -> Response:
        return Response(PropertyDetail(property_get(pk=property_id)).data)


class WallsView(generics.GenericAPIView[Wall]):
    permission_classes = (OfficeOnly,)
    serializer_class = WallOutput
    queryset = Wall.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(
        operation_id="wall_create",
        request=WallInput,
        responses={201: WallOutput},
        summary="Take down a wall of a property",
    )
    def post(self, request: Request, property_id: int) -> Response:
        place, body = property_get(pk=property_id), WallInput(data=request.data)
        body.is_valid(raise_exception=True)
        made = services.wall_create(place=place, actor=request.user, **body.to_fields(place))
        return Response(WallOutput(made).data, status=201)


class WallView(generics.GenericAPIView[Wall]):
    permission_classes = (OfficeOnly,)
    serializer_class = WallOutput
    queryset = Wall.objects.none()
    problem_statuses = (409, 422)

    @extend_schema(operation_id="wall_get", responses=WallOutput, summary="One wall")
    def get(self, request: Request, wall_id: int) -> Response:
        return Response(WallOutput(wall_get(pk=wall_id)).data)

    @extend_schema(
        operation_id="wall_update", request=WallInput, responses=WallOutput, summary="Change the given fields of a wall"
    )
    def patch(self, request: Request, wall_id: int) -> Response:
        wall, body = wall_get(pk=wall_id), WallInput(data=request.data, partial=True)
        body.is_valid(raise_exception=True)
        changed = services.wall_update(wall=wall, actor=request.user, **body.to_fields(wall.property))
        return Response(WallOutput(changed).data)


class ImportInput(serializers.Serializer[Any]):
    """A file as multipart/form-data."""

    file = serializers.FileField(help_text="CSV or XLSX, at most 50 MB; the first row names the columns")
    dry_run = serializers.BooleanField(default=True, help_text="Say what would happen and change nothing")
    mapping = serializers.JSONField(required=False, help_text='{"Their column": "our_field"}; "-" leaves one out')

    def validate_file(self, file: Any) -> Any:
        if file.size > MAX_FILE_BYTES:
            raise serializers.ValidationError("The file is larger than 50 MB.")
        return file

    def validate_mapping(self, mapping: Any) -> dict[str, str]:
        if not isinstance(mapping, dict) or not all(isinstance(name, str) for name in mapping.values()):
            raise serializers.ValidationError("Expected an object of texts.")
        return mapping


class JobsImportInput(ImportInput):
    date_order = serializers.ChoiceField(
        choices=["mdy", "dmy"], required=False, help_text="How 5/4/2026 is meant; default: as the file shows"
    )


class FaultOutput(serializers.Serializer[Any]):
    column = serializers.CharField()
    value = serializers.CharField()
    problem = serializers.CharField()
    what_to_do = serializers.CharField()


class RefusalOutput(serializers.Serializer[Any]):
    row = serializers.IntegerField(help_text="As a spreadsheet numbers it")
    faults = FaultOutput(many=True)


class ImportOutput(serializers.Serializer[Any]):
    """rows = created + changed + unchanged + refused, always."""

    kind = serializers.CharField(help_text="customers or jobs")
    dry_run = serializers.BooleanField()
    rows = serializers.IntegerField()
    created = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    imported = serializers.IntegerField()
    refused = serializers.IntegerField()
    refusals = RefusalOutput(many=True, help_text="The first 200")
    columns = serializers.DictField(child=serializers.CharField(), help_text="Heading to field")
    unknown_columns = serializers.ListField(child=serializers.CharField())
    columns_for_the_other_import = serializers.ListField(child=serializers.CharField())
    date_orders = serializers.DictField(child=serializers.CharField())
    notes = serializers.ListField(child=serializers.CharField())
    corrections = serializers.CharField(
        allow_null=True, help_text="Token of the file with all refused rows, kept for a day"
    )


def _import(request: Request, kind: str, query: type[ImportInput]) -> Response:
    body = query(data=request.data)
    body.is_valid(raise_exception=True)
    given = body.validated_data
    services.uploads_sweep(now=clock.now())
    token = services.token_new()
    order = given.get("date_order")
    try:
        report = services.import_file(
            given["file"],
            kind=kind,
            mapping=given.get("mapping", {}),
            date_order=DateOrder(order) if order else None,
            dry_run=given["dry_run"],
            actor=request.user,
            corrections=services.corrections_path(token=token),
        )
    except UnreadableFile as error:
        raise FileUnreadable(str(error)) from error
    return Response(ImportOutput({**report.as_json(), "corrections": token if report.corrections else None}).data)


@extend_schema(
    operation_id="import_customers",
    request={"multipart/form-data": ImportInput},
    responses=ImportOutput,
    summary="Take in customers and properties from a file",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
@parser_classes([MultiPartParser])
def import_customers(request: Request) -> Response:
    return _import(request, "customers", ImportInput)


@extend_schema(
    operation_id="import_jobs",
    request={"multipart/form-data": JobsImportInput},
    responses=ImportOutput,
    summary="Take in jobs, open and done, from a file",
)
@api_view(["POST"])
@permission_classes([OfficeOnly])
@parser_classes([MultiPartParser])
def import_jobs(request: Request) -> Response:
    return _import(request, "jobs", JobsImportInput)


@extend_schema(
    operation_id="import_corrections",
    responses={(200, "text/csv"): OpenApiTypes.STR},
    summary="The refused rows of an import, with the reasons",
)
@api_view(["GET"])
@permission_classes([OfficeOnly])
def import_corrections(request: Request, token: str) -> HttpResponseBase:
    path_ = services.corrections_path(token=token)
    if not path_.exists():
        raise NotFound("There is no such file.")
    return FileResponse(path_.open("rb"), filename="corrections.csv", as_attachment=True, content_type="text/csv")


urlpatterns = [
    path("customers/", Customers.as_view(), name="api_customer_list"),
    path("customers/alike/", lookalike_list, name="api_customer_lookalikes"),
    path("customers/<row:customer_id>/consents/", Consents.as_view(), name="api_customer_consents"),
    path("customers/<row:customer_id>/merge/", MergeView.as_view(), name="api_customer_merge"),
    path("customers/<row:customer_id>/", CustomerView.as_view(), name="api_customer"),
    path("properties/", Properties.as_view(), name="api_property_list"),
    path("properties/twins/", property_twins, name="api_property_twins"),
    path("properties/<row:property_id>/join/", OneHouseView.as_view(), name="api_property_join"),
    path("properties/<row:property_id>/", PropertyView.as_view(), name="api_property"),
    path("properties/<row:property_id>/walls/", WallsView.as_view(), name="api_property_walls"),
    path("walls/<row:wall_id>/", WallView.as_view(), name="api_wall"),
    path("properties/<row:property_id>/place/", PlaceView.as_view(), name="api_property_place"),
    path("properties/<row:property_id>/place/look-up/", LookupView.as_view(), name="api_property_look_up"),
    path("imports/customers/", import_customers, name="api_import_customers"),
    path("imports/jobs/", import_jobs, name="api_import_jobs"),
    path("imports/corrections/<str:token>/", import_corrections, name="api_import_corrections"),
]
