"""Addresses of tracing in a fish room: what was seen, exposures, curve, chains, origin, control, the round."""

from django.urls import URLPattern, path

from wetmount.casebook.views import chains, epidemic_curve, exposures, origin, room_seen, room_sheet

urlpatterns: list[URLPattern] = [
    path("rooms/<int:pk>/seen/", room_seen.enter, name="room_enter"),
    path("rooms/<int:pk>/arrange/", room_seen.arrange, name="room_arrange"),
    path("rooms/<int:pk>/sheet/", room_sheet.page, name="room_sheet"),
    path("rooms/<int:pk>/sheet/take/", room_sheet.take, name="room_sheet_take"),
    path("rooms/bring-in/", room_sheet.bring_in, name="bring_in_room"),
    path("rooms/<int:pk>/whole/", room_sheet.whole, name="room_whole"),
    path("rooms/<int:pk>/file/", room_sheet.room_file, name="room_file"),
    path("rooms/<int:pk>/exposures/", exposures.page, name="room_exposures"),
    path("rooms/<int:pk>/curve/", epidemic_curve.page, name="room_curve"),
    path("rooms/<int:pk>/chains/", chains.page, name="room_chains"),
    path("rooms/<int:pk>/origin/", origin.page, name="room_origin"),
    path("rooms/<int:pk>/control/", origin.control, name="room_control"),
    path("rooms/<int:pk>/round/", origin.todays_round, name="room_round"),
    path("rooms/<int:pk>/origin/part/", origin.part, name="room_origin_part"),
    path("rooms/<int:pk>/origin/stop/", origin.stop, name="room_origin_stop"),
]
