"""Our fields and what people call them. The first name is the heading that our own exports carry."""

from .columns import Field

CUSTOMER_FIELDS = (
    Field("customer_ref", "customer's reference", (
        "customer no", "customer number", "customer id", "cust no", "cust id", "cust number", "customer #", "cust #",
        "account", "account no", "account number", "client id", "client no", "reference", "id", "numero de cliente",
        "no de cliente",
    )),
    Field("customer_name", "customer", (
        "name", "customer", "cust name", "cust", "client", "client name", "full name", "homeowner", "owner",
        "contact", "contact name", "nombre", "cliente", "nombre completo", "nombre del cliente",
    )),
    Field("first_name", "first name", ("first", "given name", "fname", "primer nombre")),
    Field("last_name", "last name", ("last", "surname", "family name", "lname", "apellido", "apellidos")),
    Field("email", "email", ("e mail", "email address", "mail", "e mail address", "correo", "correo electronico")),
    Field("phone", "telephone", (
        "phone #", "phone no", "phone number", "telephone", "telephone number", "tel", "tel no", "cell", "cell phone",
        "cell #", "mobile", "mobile phone", "mobile number", "telefono", "celular", "movil",
    )),
    Field("language", "language", ("lang", "speaks", "idioma")),
    Field("source", "how they found us", ("how found", "how did you hear", "heard from", "lead source", "origen")),
    Field("customer_note", "note on the customer", ("customer notes", "client notes", "notas del cliente")),
    Field("email_consent", "may be emailed", (
        "email ok", "ok to email", "may email", "can email", "email opt in", "email permission",
    )),
    Field("text_consent", "may be texted", (
        "text ok", "ok to text", "may text", "can text", "text opt in", "sms ok", "text permission",
    )),
    Field("do_not_contact", "do not write to", (
        "opted out", "opt out", "do not contact", "no contact", "no contactar",
    )),
    Field("property_ref", "property's reference", (
        "property no", "property number", "property id", "site id", "site no",
    )),
    Field("street", "street address", (
        "address", "addr", "street address", "address 1", "address line 1", "service address", "property address",
        "property", "house", "direccion", "calle", "domicilio",
    )),
    Field("city", "city", ("town", "municipality", "ciudad", "pueblo")),
    Field("region", "state or province", ("state", "st", "province", "estado", "provincia")),
    Field("postal_code", "postal code", (
        "zip", "zip code", "zipcode", "postcode", "post code", "postal", "codigo postal", "cp",
    )),
    Field("latitude", "latitude", ("lat", "latitud")),
    Field("longitude", "longitude", ("lon", "lng", "long", "longitud")),
    Field("storeys", "storeys", ("stories", "story", "floors", "levels", "# stories", "number of stories", "pisos")),
    Field("year_built", "year built", ("built", "year", "yr built", "ano de construccion")),
    Field("gate_note", "gate", ("gate", "gate code", "access", "access note", "porton", "puerta", "acceso")),
    Field("pet_note", "pets", ("pets", "pet", "dog", "dogs", "animals", "mascotas", "mascota", "perro", "perros")),
    Field("property_note", "note on the property", (
        "notes", "note", "comments", "comment", "remarks", "notas", "comentarios",
    )),
    Field("siding", "siding", ("siding material", "siding type", "material", "wall material", "revestimiento")),
    Field("siding_colour", "colour of the siding", ("siding color", "color", "colour", "house color")),
    Field("wall_area", "wall area", (
        "sq ft", "sqft", "square feet", "sf", "wall sq ft", "wall sqft", "house sq ft", "siding sq ft", "area",
        "size", "area m2", "m2", "superficie", "pies cuadrados", "metros cuadrados",
    )),
)  # fmt: skip

_JOB_WHERE = frozenset((
    "customer_ref", "customer_name", "first_name", "last_name", "email", "phone", "property_ref", "street", "city",
    "region", "postal_code",
))  # fmt: skip

JOB_FIELDS = (
    Field("job_ref", "job's reference", (
        "job no", "job number", "job id", "job #", "work no", "order no", "invoice", "invoice no", "invoice #",
        "numero de trabajo", "factura",
    )),
    *(field for field in CUSTOMER_FIELDS if field.name in _JOB_WHERE),
    Field("service", "service", (
        "services", "job", "job type", "type of work", "work", "kind of work", "type", "item", "servicio", "trabajo",
    )),
    Field("quantity", "quantity", (
        "qty", "amount of work", "sq ft", "sqft", "square feet", "sf", "area", "size", "area m2", "m2", "linear ft",
        "count", "units", "cantidad", "superficie", "pies cuadrados", "metros cuadrados",
    )),
    Field("price", "price", (
        "amount", "total", "charge", "charged", "cost to customer", "job price", "revenue", "precio", "importe",
    )),
    Field("materials", "materials", ("materials cost", "material cost", "chemicals", "supplies", "materiales")),
    Field("discount", "discount on the job", ("descuento",)),
    Field("minutes", "minutes on site", (
        "min", "mins", "on site minutes", "duration", "time", "time on site", "on site hours", "hours",
        "hrs", "labor hours",
        "minutos", "horas", "duracion",
    )),
    Field("workers", "workers", ("crew size", "people", "men", "trabajadores")),
    Field("drive_minutes", "minutes driven", ("drive", "drive time", "travel", "travel time", "travel minutes")),
    Field("wages", "wages with burden", ("labor cost", "wage cost", "labour cost", "mano de obra")),
    Field("job_state", "state of the job", ("status", "job status", "stage", "estatus")),
    Field("done_on", "done on", (
        "last done", "date done", "done", "done date", "completed", "completed on", "completion date", "finished",
        "finished on", "last service", "last service date", "service date", "last wash", "last washed",
        "date of service",
        "fecha", "fecha de servicio", "ultimo servicio", "ultima vez", "terminado",
    )),
    Field("promised", "promised day", (
        "promised on", "promised date", "appointment", "scheduled", "scheduled for", "scheduled date", "booked for",
        "cita", "fecha prometida",
    )),
    Field("possible_dates", "possible days", (
        "possible", "possible days", "any of", "available", "dates", "fechas posibles",
    )),
    Field("first_date", "earliest day", ("earliest", "from", "not before", "start date", "desde")),
    Field("last_date", "latest day", (
        "latest", "until", "by", "not after", "due by", "end date", "deadline", "hasta",
    )),
    Field("window", "hours of the day", ("arrival window", "time window", "arrival", "hours of day", "horario")),
    Field("interval_months", "months until it is due again", (
        "interval", "repeat months", "every months", "every x months", "recurs", "meses", "intervalo",
    )),
    Field("callback_of", "free return visit for job", ("callback", "return visit of", "makes good")),
    Field("job_note", "note for the crew", (
        "notes", "note", "job notes", "crew notes", "comments", "remarks", "notas",
    )),
    Field("line_note", "note on the line", ("line notes", "description", "details", "descripcion")),
)  # fmt: skip

LANGUAGES = {
    "en": "en", "english": "en", "ingles": "en", "eng": "en",
    "es": "es", "spanish": "es", "espanol": "es", "esp": "es",
}  # fmt: skip

MATERIALS = {
    "vinyl": "vinyl", "vinyl siding": "vinyl", "vinilo": "vinyl", "pvc": "vinyl",
    "aluminium": "aluminium", "aluminum": "aluminium", "alum": "aluminium", "aluminum siding": "aluminium",
    "aluminio": "aluminium", "painted wood": "painted_wood", "wood": "painted_wood", "wood siding": "painted_wood",
    "madera": "painted_wood", "fibre cement": "fibre_cement", "fiber cement": "fibre_cement",
    "cement board": "fibre_cement", "fibrocemento": "fibre_cement", "brick": "brick", "ladrillo": "brick",
    "stucco": "stucco", "estuco": "stucco", "other": "other", "otro": "other", "stone": "other",
}  # fmt: skip

JOB_STATES = {
    "lead": "lead", "inquiry": "lead", "enquiry": "lead", "new": "lead", "estimated": "estimated",
    "estimate": "estimated",
    "estimate sent": "estimated", "quoted": "estimated", "bid": "estimated", "agreed": "agreed", "accepted": "agreed",
    "approved": "agreed", "booked": "agreed", "scheduled": "agreed", "open": "agreed", "pending": "agreed",
    "acordado": "agreed", "aceptado": "agreed", "pendiente": "agreed", "planned": "planned", "on site": "on_site",
    "started": "on_site", "in progress": "on_site", "done": "done", "completed": "done", "complete": "done",
    "finished": "done", "paid": "done", "hecho": "done", "terminado": "done", "pagado": "done",
    "declined": "declined",
    "rejected": "declined", "lost": "declined", "rechazado": "declined", "called off": "called_off",
    "cancelled": "called_off", "canceled": "called_off", "cancelado": "called_off",
}  # fmt: skip
