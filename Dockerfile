# One image for web, workers and clock. The measuring kernels are compiled while it is built.
FROM python:3.11-slim
ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 PIP_NO_CACHE_DIR=1 \
    MAKERLAB_VAR=/var/lib/makerlab NUMBA_CACHE_DIR=/opt/makerlab/kernels DJANGO_SETTINGS_MODULE=makerlab.settings
WORKDIR /opt/makerlab
# pg_dump, for backups of the distributed profile
RUN apt-get update \
 && apt-get install --yes --no-install-recommends postgresql-client \
 && rm -rf /var/lib/apt/lists/*
COPY requirements-s3.txt requirements-sso.txt ./
RUN pip install --require-hashes -r requirements-s3.txt \
 && pip install --require-hashes -r requirements-sso.txt
COPY . .
RUN pip install --no-deps --no-build-isolation -e . \
 && useradd --system --uid 10001 --home-dir /var/lib/makerlab --create-home makerlab \
 && python manage.py warmup \
 && rm -f /var/lib/makerlab/secret_key \
 && mkdir -p /var/backups/makerlab \
 && chown -R makerlab:makerlab /var/lib/makerlab /var/backups/makerlab \
 && chmod -R a+rX /opt/makerlab
USER 10001:10001
EXPOSE 8000
CMD ["waitress-serve", "--listen=0.0.0.0:8000", "makerlab.wsgi:application"]
