FROM python:3.11-slim-bookworm
RUN apt-get update && apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 \
    && rm -rf /var/lib/apt/lists/* && useradd --system --home-dir /var/lib/withstand --create-home withstand
WORKDIR /srv/withstand
COPY requirements.lock .
RUN pip install --no-cache-dir --no-deps --require-hashes -r requirements.lock
COPY . .
USER withstand
