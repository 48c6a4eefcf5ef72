"""Addresses of printing."""

from django.urls import path

from printing.views import arrange, bench, costs, layers, pins, plates, prepared, printers, queue, room, spools, today

app_name = "printing"
urlpatterns = [
    path("today/", today.today, name="today"),
    path("queue/", queue.request_list, name="request-list"),
    path("queue/order-missing/", today.request_missing, name="request-missing"),
    path("queue/<int:pk>/move/", queue.request_move, name="request-move"),
    path("queue/<int:pk>/cancel/", queue.request_cancel, name="request-cancel"),
    path("room/", room.room_plan, name="room-plan"),
    path("room/replan/", room.room_replan, name="room-replan"),
    path("bench/", bench.bench, name="bench"),
    path("runs/<int:pk>/", bench.run_detail, name="run-detail"),
    path("runs/<int:pk>/clear/", bench.run_clear, name="run-clear"),
    path("printers/<int:pk>/", printers.printer_detail, name="printer-detail"),
    path("printers/<int:pk>/take-out/", bench.printer_take_out, name="printer-take-out"),
    path("printers/<int:pk>/bring-back/", bench.printer_bring_back, name="printer-bring-back"),
    path("plates/<int:pk>/", plates.plate_detail, name="plate-detail"),
    path("plates/<int:pk>/plate.<str:kind>", plates.plate_file, name="plate-file"),
    path("plates/<int:pk>/layers/", layers.plate_layers, name="plate-layers"),
    path("plates/<int:pk>/prepared/", prepared.plate_prepared, name="plate-prepared"),
    path("prepared-files/<int:pk>/", prepared.prepared_file, name="prepared-file"),
    path("prepared-files/<int:pk>/use/", prepared.prepared_use, name="prepared-use"),
    path("prepared-files/<int:pk>/withdraw/", prepared.prepared_withdraw, name="prepared-withdraw"),
    path("plates/<int:pk>/hold/", plates.plate_hold, name="plate-hold"),
    path("plates/<int:pk>/release/", plates.plate_release, name="plate-release"),
    path("plates/<int:pk>/pin/", pins.plate_pin, name="plate-pin"),
    path("plates/<int:pk>/unpin/", pins.plate_unpin, name="plate-unpin"),
    path("plates/<int:pk>/arrange/", arrange.plate_arrange, name="plate-arrange"),
    path("plates/<int:pk>/arrange/judge/", arrange.plate_judge, name="plate-judge"),
    path("plates/<int:pk>/arrange/save/", arrange.plate_save, name="plate-save"),
    path("plates/<int:pk>/lay-out-again/", arrange.plate_lay_out_again, name="plate-lay-out-again"),
    path("plates/<int:pk>/start/", plates.plate_start, name="plate-start"),
    path("costs/", costs.assignment_costs, name="assignment-costs"),
    path("costs/<int:pk>/", costs.assignment_cost, name="assignment-cost"),
    path("spools/", spools.spool_list, name="spool-list"),
    path("spools/add/", spools.spool_create, name="spool-create"),
    path("spools/weigh-empty/", spools.spool_weigh_empty, name="spool-weigh-empty"),
    path("spools/<int:pk>/load/", spools.spool_load, name="spool-load"),
    path("spools/<int:pk>/weigh/", spools.spool_weigh, name="spool-weigh"),
    path("spools/<int:pk>/describe/", spools.spool_describe, name="spool-describe"),
]
