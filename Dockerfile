# Two stages: the toolchain builds, a bare system runs. No network is needed at run time.
FROM rust:1.95-slim-bookworm AS build
WORKDIR /src
COPY Cargo.toml Cargo.lock ./
COPY service service
COPY tests tests
RUN cargo build --release --locked --package quoin-server && strip target/release/quoin

FROM debian:bookworm-slim
RUN useradd --system --uid 10001 --no-create-home quoin
COPY --from=build /src/target/release/quoin /usr/local/bin/quoin
# Fewer arenas give memory back after large pictures.
ENV MALLOC_ARENA_MAX=2
USER 10001
# The service answers only its health so far, inside the container. A night's run:
# docker run --rm -v "$PWD:/jobs" --user "$(id -u)" IMAGE gang /jobs/night.json --out /jobs/out
HEALTHCHECK --interval=10s --timeout=3s CMD ["quoin", "health"]
ENTRYPOINT ["quoin"]
CMD ["serve"]
