"""Addresses of this room's pages."""

from django.urls import path

from pricing.catalogue.views import cards, drafts, rates

app_name = "catalogue"
urlpatterns = [
    path("rates/", rates.rates, name="rates"),
    path("rates/target/", rates.target_new, name="target_new"),
    path("rates/tax/", rates.tax_new, name="tax_new"),
    path("rates/cards/<row:card_id>/", cards.card, name="card"),
    path("rates/cards/<row:card_id>/withdraw/", cards.withdraw, name="withdraw"),
    path("rates/cards/<row:card_id>/card.csv", cards.version_file, {"kind": "csv"}, name="version_csv"),
    path("rates/cards/<row:card_id>/card.json", cards.version_file, {"kind": "json"}, name="version_json"),
    path("rates/draft/", drafts.draft, name="draft"),
    path("rates/draft/begin/", drafts.begin, name="draft_begin"),
    path("rates/draft/file/", drafts.import_file, name="draft_import"),
    path("rates/draft/in-force/", drafts.in_force, name="draft_in_force"),
    path("rates/draft/drop/", drafts.drop, name="draft_drop"),
    path("rates/draft/<slug:slug>/", drafts.part, name="draft_part"),
    path("rates/card/in-force.csv", drafts.card_file, {"which": "in-force", "kind": "csv"}, name="card_csv"),
    path("rates/card/in-force.json", drafts.card_file, {"which": "in-force", "kind": "json"}, name="card_json"),
    path("rates/card/draft.csv", drafts.card_file, {"which": "draft", "kind": "csv"}, name="draft_csv"),
    path("rates/card/draft.json", drafts.card_file, {"which": "draft", "kind": "json"}, name="draft_json"),
    path("rates/start/", rates.start_card, name="start_card"),
]
