# Two stages: the toolchain builds; what runs is the binary and the C library that it needs, and nothing else: no shell, no
# package manager. No network is needed at run time. `tests/container` builds the image and tries it.
FROM rust:1.95-slim-bookworm AS build
WORKDIR /src
COPY Cargo.toml Cargo.lock ./
COPY service service
COPY openapi openapi
COPY tests tests
RUN cargo build --release --locked --package quoin-server && strip target/release/quoin
RUN install -D target/release/quoin /image/usr/local/bin/quoin \
 && ldd target/release/quoin | grep -o '/[^ ]*' | xargs cp --parents --dereference --target-directory /image \
 && mkdir -m 1777 /image/tmp

FROM scratch
COPY --from=build /image /
# Inside a container loopback would be reachable from nowhere; without keys (QUOIN_KEYS, or a settings file) the service
# refuses to start on this address.
ENV PATH=/usr/local/bin QUOIN_LISTEN=0.0.0.0:8080
# Pictures on their way in and archives on their way out: on disk, also where the root is read-only.
VOLUME /tmp
USER 10001
EXPOSE 8080
HEALTHCHECK --interval=10s --timeout=3s CMD ["quoin", "health"]
ENTRYPOINT ["quoin"]
CMD ["serve"]
