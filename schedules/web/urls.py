"""Addresses of orders, units, plans, authorisations and bays."""

from django.urls import path

from schedules.web import authorisations, bays, orders, packs, plans, units

app_name = "schedules"
urlpatterns = [
    path("orders/", orders.orders, name="orders"),
    path("orders/new/", orders.create, name="order-create"),
    path("orders/<int:pk>/", orders.order, name="order"),
    path("orders/<int:pk>/edit/", orders.edit, name="order-edit"),
    path("orders/<int:pk>/review/", orders.review, name="order-review"),
    path("orders/<int:pk>/history/", orders.history, name="order-history"),
    path("orders/<int:order_pk>/units/new/", units.create, name="unit-create"),
    path("units/", units.units, name="units"),
    path("units/<int:pk>/", units.unit, name="unit"),
    path("units/<int:pk>/edit/", units.edit, name="unit-edit"),
    path("units/<int:pk>/history/", units.history, name="unit-history"),
    path("units/<int:pk>/plan/", plans.plan, name="plan"),
    path("units/<int:pk>/photographs/new/", units.photo, name="photo"),
    path("photographs/<int:pk>/", units.photo_file, name="photo-file"),
    path("plans/<int:pk>/", plans.revision, name="revision"),
    path("steps/<int:pk>/review/", plans.review_of_step, name="review-step"),
    path("steps/<int:pk>/release/", plans.release, name="release"),
    path("packs/", packs.packs, name="packs"),
    path("packs/new/", packs.create, name="pack-create"),
    path("packs/shipped/<slug:name>/", packs.shipped, name="pack-shipped"),
    path("packs/<int:pk>/", packs.pack, name="pack"),
    path("packs/<int:pk>/edit/", packs.edit, name="pack-edit"),
    path("packs/<int:pk>/confirm/", packs.confirm, name="pack-confirm"),
    path("packs/<int:pk>/retire/", packs.retire, name="pack-retire"),
    path("bays/", bays.bays, name="bays"),
    path("bays/<int:pk>/edit/", bays.edit, name="bay-edit"),
    path("authorisations/", authorisations.authorisations, name="authorisations"),
    path("authorisations/new/", authorisations.grant, name="authorisation-create"),
    path("authorisations/<int:pk>/edit/", authorisations.edit, name="authorisation-edit"),
    path("authorisations/<int:pk>/end/", authorisations.end, name="authorisation-end"),
]
