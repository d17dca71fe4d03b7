# Two stages: the toolchain builds, a bare system runs. No network is needed at run time. `tests/container` builds and tries it.
FROM rust:1.95-slim-bookworm AS build
WORKDIR /src
COPY Cargo.toml Cargo.lock ./
COPY service service
COPY openapi openapi
COPY tests tests
RUN cargo build --release --locked --package quoin-server && strip target/release/quoin

FROM debian:bookworm-slim
RUN useradd --system --uid 10001 --no-create-home quoin
COPY --from=build /src/target/release/quoin /usr/local/bin/quoin
# Fewer arenas give memory back after large pictures. Inside a container loopback would be reachable from nowhere; without
# keys (QUOIN_KEYS, or a settings file) the service refuses to start on this address.
ENV MALLOC_ARENA_MAX=2 QUOIN_LISTEN=0.0.0.0:8080
# Pictures on their way in and archives on their way out: on disk, also where the root is read-only.
VOLUME /tmp
USER 10001
EXPOSE 8080
HEALTHCHECK --interval=10s --timeout=3s CMD ["quoin", "health"]
ENTRYPOINT ["quoin"]
CMD ["serve"]
