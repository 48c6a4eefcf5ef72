"""Addresses of submissions."""

from django.urls import URLPattern, path

from submissions.views import parts, report, review, shown

app_name = "submissions"
urlpatterns: list[URLPattern] = [
    path("parts/", parts.part_list, name="part-list"),
    path("parts/<int:assignment_id>/<int:kit_part_id>/", parts.submission_create, name="submission-create"),
    path("submissions/<int:pk>/", report.submission_report, name="submission-report"),
    path("submissions/<int:pk>/file/", report.submission_file, name="submission-file"),
    path("submissions/<int:pk>/mesh/", shown.submission_mesh, name="submission-mesh"),
    path("submissions/<int:pk>/picture.png", shown.submission_picture, name="submission-picture"),
    path("submissions/<int:pk>/small.png", shown.submission_small, name="submission-small"),
    path("submissions/<int:pk>/hand-in/", report.submission_hand_in, name="submission-hand-in"),
    path("submissions/<int:pk>/take-back/", report.submission_take_back, name="submission-take-back"),
    path("submissions/<int:pk>/layers/", report.submission_layers, name="submission-layers"),
    path("submissions/<int:pk>/lay/", report.submission_lay, name="submission-lay"),
    path("submissions/<int:pk>/reread/", report.submission_reread, name="submission-reread"),
    path("review/", review.review_list, name="review-list"),
    path("review/approve-passing/", review.review_approve_passing, name="review-approve-passing"),
    path("review/undo/", review.review_undo, name="review-undo"),
    path("review/<int:pk>/", review.review_desk, name="review-desk"),
    path("review/<int:pk>/approve/", review.review_approve, name="review-approve"),
    path("review/<int:pk>/return/", review.review_return, name="review-return"),
]
