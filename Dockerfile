# One image for web, worker, beat and migrate: the command tells them apart. No secret is built in.
FROM python:3.11-slim-bookworm AS built
ENV PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PYTHONDONTWRITEBYTECODE=1
RUN python -m venv /srv/venv
COPY requirements.lock /srv/
RUN /srv/venv/bin/pip install --no-deps -r /srv/requirements.lock

FROM python:3.11-slim-bookworm
# The libraries and fonts that certificates are drawn with.
RUN apt-get update \
    && apt-get install -y --no-install-recommends \
        fontconfig fonts-dejavu-core fonts-open-sans fonts-sil-charis libharfbuzz-subset0 libpango-1.0-0 libpangoft2-1.0-0 \
    && rm -rf /var/lib/apt/lists/*
RUN useradd --system --uid 10001 --home-dir /srv/wellhold --shell /usr/sbin/nologin wellhold \
    && install -d -o wellhold -g wellhold -m 700 /srv/var /srv/var/files
COPY --from=built /srv/venv /srv/venv
COPY . /srv/wellhold
WORKDIR /srv/wellhold
ENV PATH=/srv/venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    MPLCONFIGDIR=/tmp/matplotlib \
    WELLHOLD_VAR=/srv/var \
    WELLHOLD_STATIC=/srv/static
# Static files belong to the image, not to a volume: every replica then serves those of its own version.
# The embedded profile needs no secret from outside; the key it makes for itself is thrown away with its folder.
RUN WELLHOLD_VAR=/tmp/build DJANGO_SETTINGS_MODULE=config.settings.embedded \
        python manage.py collectstatic --noinput --verbosity 0 \
    && rm -rf /tmp/build
ENV DJANGO_SETTINGS_MODULE=config.settings.production
USER wellhold
VOLUME /srv/var/files
EXPOSE 8000
CMD ["gunicorn", "config.wsgi", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "4", "--timeout", "120", \
     "--worker-tmp-dir", "/dev/shm", "--no-control-socket", "--access-logfile", "-"]
