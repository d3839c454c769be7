from django.conf import settings
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from shared.events.append_only import AppendOnlyModel
from shared.letters import MailField
from shared.outbox.models import Channel


class Language(models.TextChoices):
    ENGLISH = "en", _("English")
    SPANISH = "es", _("Spanish")


class Customer(models.Model):
    """A person or firm that has work done. `reference` is the company's own number, unique where it is given."""

    reference = models.CharField(max_length=40, null=True, blank=True, unique=True)  # noqa: DJ001
    name = models.CharField(max_length=120)
    email = MailField(blank=True)
    phone_e164 = models.CharField(max_length=16, blank=True)
    language = models.CharField(max_length=2, choices=Language.choices, default=Language.ENGLISH)
    source = models.CharField(max_length=60, blank=True, help_text=_("How they found us"))
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="absorbed",
        help_text="the customer that this one turned out to be; histories keep pointing here",
    )  # fmt: skip
    merged_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["name", "id"]
        indexes = [
            models.Index(Lower("email"), name="customer_email"),
            models.Index(fields=["phone_e164"], name="customer_phone"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(name=""),
                name="customer_has_name",
                violation_error_message=_("A customer needs a name."),
            ),
            models.CheckConstraint(
                condition=models.Q(phone_e164="") | models.Q(phone_e164__startswith="+"),
                name="customer_phone_e164",
                violation_error_message=_("Write the number with + and the country code."),
            ),
            models.CheckConstraint(condition=models.Q(language__in=Language.values), name="customer_language_known"),
            models.CheckConstraint(
                condition=models.Q(merged_into__isnull=True, merged_at__isnull=True)
                | models.Q(merged_into__isnull=False, merged_at__isnull=False) & ~models.Q(merged_into=models.F("id")),
                name="customer_merged_with_another",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class DifferentCustomers(models.Model):
    """Somebody in the office knows that two entries which look alike are two customers. `first` has the lower id."""

    first = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="+")
    second = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["first", "second"]
        verbose_name_plural = "different customers"
        constraints = [
            models.UniqueConstraint(fields=["first", "second"], name="different_customers_once"),
            models.CheckConstraint(
                condition=models.Q(first__lt=models.F("second")), name="different_customers_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_id} is not {self.second_id}"


class Purpose(models.TextChoices):
    REMINDER = "reminder", _("reminders")
    SERVICE = "service", _("messages about booked work")
    ALL = "all", _("everything")


class Consent(AppendOnlyModel):
    """A customer said yes or no to being written to. The newest row for a channel and purpose counts."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="consents")
    channel = models.CharField(max_length=8, choices=Channel.choices)
    purpose = models.CharField(max_length=10, choices=Purpose.choices)
    given = models.BooleanField(help_text=_("no: opted out"))
    wording = models.TextField(blank=True, help_text=_("What the person was shown or told"))
    source = models.CharField(max_length=60, blank=True, help_text=_("Where: call, form, reply, import"))
    at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["customer", "channel", "-at", "-id"], name="consent_newest")]
        constraints = [
            models.CheckConstraint(condition=models.Q(channel__in=Channel.values), name="consent_channel_known"),
            models.CheckConstraint(condition=models.Q(purpose__in=Purpose.values), name="consent_purpose_known"),
        ]

    def __str__(self) -> str:
        return f"{self.customer_id} {self.channel} {self.purpose} {'yes' if self.given else 'no'}"


def address_line(street: str, city: str, region: str, postal_code: str) -> str:
    """`12 Elm Street, Sampleton, OH 00001`, without what is not known."""
    place = " ".join(part for part in (region, postal_code) if part)
    return ", ".join(part for part in (street, city, place) if part)


class Property(models.Model):
    """A house and its plot: where the work is done."""

    reference = models.CharField(max_length=40, null=True, blank=True, unique=True)  # noqa: DJ001
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="properties")
    street = models.CharField(max_length=120)
    city = models.CharField(max_length=80, blank=True)
    region = models.CharField(max_length=40, blank=True)
    postal_code = models.CharField(max_length=20, blank=True)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    storeys = models.PositiveSmallIntegerField(default=1)
    year_built = models.PositiveSmallIntegerField(null=True, blank=True)
    front_degrees = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text=_("Compass direction that the street side looks to: 0 north, 90 east")
    )
    gate_note = models.CharField(max_length=200, blank=True)
    pet_note = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    joined_into = models.ForeignKey(
        "self", null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="joined",
        help_text="the row of the same house that goes on; histories keep pointing here",
    )  # fmt: skip

    class Meta:
        ordering = ["street", "id"]
        verbose_name_plural = "properties"
        constraints = [
            models.UniqueConstraint(
                fields=["customer", "street", "postal_code"],
                # The entry that became another leaves its way of writing to that one.
                condition=models.Q(joined_into__isnull=True),
                name="property_once_per_customer",
                violation_error_message=_("This customer has a property at this address already."),
            ),
            models.CheckConstraint(condition=~models.Q(street=""), name="property_has_street"),
            models.CheckConstraint(
                # "Not null" in so many words: comparing with NULL is unknown, and a CHECK lets unknown pass.
                condition=models.Q(latitude__isnull=True, longitude__isnull=True)
                | models.Q(latitude__isnull=False, latitude__gte=-90, latitude__lte=90)
                & models.Q(longitude__isnull=False, longitude__gte=-180, longitude__lte=180),
                name="property_place_valid",
                violation_error_message=_("Latitude is -90 to 90, longitude -180 to 180; give both or neither."),
            ),
            models.CheckConstraint(
                condition=models.Q(joined_into__isnull=True) | ~models.Q(joined_into=models.F("id")),
                name="property_joined_with_another",
            ),
            models.CheckConstraint(condition=models.Q(storeys__gte=1, storeys__lte=4), name="property_storeys_1_to_4"),
            models.CheckConstraint(
                condition=models.Q(front_degrees__isnull=True) | models.Q(front_degrees__lt=360),
                name="property_front_on_compass",
                violation_error_message=_("A compass has 0 to 359 degrees."),
            ),
        ]

    def __str__(self) -> str:
        return self.street

    @property
    def address(self) -> str:
        """One line as it is written on an envelope."""
        return address_line(self.street, self.city, self.region, self.postal_code)

    @property
    def has_place(self) -> bool:
        return self.coordinates is not None

    @property
    def coordinates(self) -> tuple[float, float] | None:
        """Latitude and longitude in degrees; None where the place is not known."""
        if self.latitude is None or self.longitude is None:
            return None
        return self.latitude, self.longitude


class LookupOutcome(models.TextChoices):
    FOUND = "found", _("found")
    UNSURE = "unsure", _("several or none is the house itself; choose one")
    NOTHING = "nothing", _("the register does not know the address")
    FAILED = "failed", _("the register could not be asked")


class AddressLookup(models.Model):
    """The newest answer of the address register for a property. `candidates` are what it offered, best first.

    `latitude` and `longitude` are those that the look-up gave the property, so that a place set by hand or by an
    import is told from one that came from here and is looked up again when the address changes.
    """

    property = models.OneToOneField(Property, on_delete=models.CASCADE, related_name="lookup")
    address = models.CharField(max_length=300)
    outcome = models.CharField(max_length=8, choices=LookupOutcome.choices)
    candidates = models.JSONField(default=list)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(outcome__in=LookupOutcome.values), name="lookup_outcome_known"),
        ]

    def __str__(self) -> str:
        return f"{self.address}: {self.outcome}"


class Material(models.TextChoices):
    VINYL = "vinyl", _("vinyl")
    ALUMINIUM = "aluminium", _("aluminium")
    PAINTED_WOOD = "painted_wood", _("painted wood")
    FIBRE_CEMENT = "fibre_cement", _("fibre cement")
    BRICK = "brick", _("brick")
    STUCCO = "stucco", _("stucco")
    OTHER = "other", _("other")


class Shade(models.TextChoices):
    """What stands between the wall and the sun over the day."""

    OPEN = "open", _("open to the sun")
    PARTLY = "partly", _("shaded part of the day")
    MOSTLY = "mostly", _("shaded most of the day")


class OldPaint(models.TextChoices):
    """Whether there is paint from before 1978 (16 CFR 1303 ended most uses of lead paint in homes that year)."""

    UNKNOWN = "unknown", _("not known")
    YES = "yes", _("yes")
    NO = "no", _("no")


class WallKind(models.TextChoices):
    FACE = "face", _("wall")
    SHUTTERS = "shutters", _("shutters")
    GARAGE_DOOR = "garage_door", _("garage door")
    TRIM = "trim", _("trim")


class Wall(models.Model):
    """One face or element of a property that weathers."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="walls")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=12, choices=WallKind.choices, default=WallKind.FACE)
    material = models.CharField(max_length=14, choices=Material.choices, default=Material.VINYL)
    colour = models.CharField(max_length=30, blank=True)
    lightness_percent = models.PositiveSmallIntegerField(null=True, blank=True, help_text=_("0 black, 100 white"))
    facing_degrees = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text=_("Compass direction it looks to: 0 north, 90 east")
    )
    area_sqft = models.PositiveIntegerField(null=True, blank=True)
    storeys = models.PositiveSmallIntegerField(default=1)
    shade = models.CharField(max_length=6, choices=Shade.choices, default=Shade.OPEN)
    year_fitted = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text=_("Year in which the siding was fitted or last painted")
    )
    old_paint = models.CharField(
        max_length=7, choices=OldPaint.choices, default=OldPaint.UNKNOWN, help_text=_("Paint from before 1978")
    )

    class Meta:
        ordering = ["property", "id"]
        indexes = [
            # What the faces of a house come to is added up for every line of the due list.
            models.Index(
                fields=["property", "area_sqft"], condition=models.Q(kind=WallKind.FACE), name="wall_faces_of_a_house"
            )
        ]
        constraints = [
            models.CheckConstraint(condition=models.Q(shade__in=Shade.values), name="wall_shade_known"),
            models.CheckConstraint(condition=models.Q(old_paint__in=OldPaint.values), name="wall_old_paint_known"),
            models.CheckConstraint(
                condition=models.Q(year_fitted__isnull=True) | models.Q(year_fitted__range=(1700, 2200)),
                name="wall_year_fitted_sensible",
                violation_error_message=_("Write the year with four digits."),
            ),
            models.CheckConstraint(
                condition=models.Q(storeys__gte=1, storeys__lte=4),
                name="wall_storeys_1_to_4",
                violation_error_message=_("A wall has 1 to 4 storeys."),
            ),
            models.UniqueConstraint(
                fields=["property", "name"],
                name="wall_name_once",
                violation_error_message=_("A wall of this house has this name already."),
            ),
            models.CheckConstraint(condition=models.Q(kind__in=WallKind.values), name="wall_kind_known"),
            models.CheckConstraint(condition=models.Q(material__in=Material.values), name="wall_material_known"),
            models.CheckConstraint(
                condition=models.Q(facing_degrees__isnull=True) | models.Q(facing_degrees__lt=360),
                name="wall_facing_on_compass",
                violation_error_message=_("A compass has 0 to 359 degrees."),
            ),
            models.CheckConstraint(
                condition=models.Q(lightness_percent__isnull=True) | models.Q(lightness_percent__lte=100),
                name="wall_lightness_percent",
                violation_error_message=_("Lightness is 0 (black) to 100 (white)."),
            ),
        ]

    def __str__(self) -> str:
        return self.name
