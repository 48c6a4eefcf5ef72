"""Addresses of writing lesson plans: the editor, versions, sheets, packages, kits."""

from django.urls import URLPattern, path

from lessons.views import experiment_edit, kit_edit, plan_edit, plan_manage, plan_packages, plan_papers

urlpatterns: list[URLPattern] = [
    path("plans/new/", plan_manage.plan_new, name="plan-new"),
    path("plans/from-package/", plan_packages.plan_import, name="plan-import"),
    path("packages/<int:pk>/", plan_packages.package_detail, name="package-detail"),
    path("packages/<int:pk>/drop/", plan_packages.package_drop, name="package-drop"),
    path("plans/<int:pk>/package.zip", plan_packages.plan_package, name="plan-package"),
    path("plans/<int:pk>/edit/", plan_edit.plan_edit, name="plan-edit"),
    path("plans/<int:pk>/experiment/edit/", experiment_edit.experiment_edit, name="experiment-edit"),
    path("plans/<int:pk>/preview/", plan_edit.plan_preview, name="plan-preview"),
    path("plans/<int:pk>/copy/", plan_manage.plan_copy, name="plan-copy"),
    path("plans/<int:pk>/archive/", plan_manage.plan_archive, name="plan-archive"),
    path("plans/<int:pk>/restore/", plan_manage.plan_restore, name="plan-restore"),
    path("plans/<int:pk>/versions/", plan_manage.plan_versions, name="plan-versions"),
    path("plans/<int:pk>/versions/<int:number>/", plan_manage.plan_version, name="plan-version"),
    path("plans/<int:pk>/versions/<int:number>/back/", plan_manage.plan_version_back, name="plan-version-back"),
    path("plans/<int:pk>/plan.pdf", plan_papers.plan_paper_pdf, name="plan-paper-pdf"),
    path("plans/<int:pk>/sheet.pdf", plan_papers.plan_sheet_pdf, name="plan-sheet-pdf"),
    path("plans/<int:pk>/sheet/", plan_papers.plan_sheet, name="plan-sheet"),
    path("plans/<int:pk>/kit/", kit_edit.plan_kit, name="plan-kit"),
    path("kit-parts/<int:pk>/edit/", kit_edit.kit_edit, name="kit-edit"),
    path("kit-parts/<int:pk>/move/", kit_edit.kit_move, name="kit-move"),
    path("kit-parts/<int:pk>/restore/", kit_edit.kit_restore, name="kit-restore"),
]
