# One image for web, workers and clock. The measuring kernels are compiled while it is built.
FROM python:3.11-slim
ENV PYTHONUNBUFFERED=1 PIP_NO_CACHE_DIR=1 MAKERLAB_VAR=/var/lib/makerlab NUMBA_CACHE_DIR=/opt/makerlab/kernels
WORKDIR /opt/makerlab
COPY requirements.txt ./
RUN pip install --require-hashes -r requirements.txt
COPY . .
RUN pip install --no-deps --no-build-isolation -e . \
 && useradd --system --home /var/lib/makerlab --create-home makerlab \
 && python manage.py warmup && python manage.py collectstatic --noinput \
 && chown -R makerlab /var/lib/makerlab /opt/makerlab/kernels
USER makerlab
