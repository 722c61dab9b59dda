#!/usr/bin/env bash
# Builds the Debian packages for armhf (ARMv6 code, for every Raspberry Pi), arm64 and amd64 into dist/.
#
#   deploy/build.sh [VERSION]
#
# Needs Go; nfpm comes by the Go module proxy. nfpm is pinned: newer ones do not build from there.
set -euo pipefail
cd "$(dirname "$0")"
version=${1:-0.1.0}
nfpm=github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.41.0
dist=$PWD/../dist
mkdir -p "$dist"
export SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 1767225600)}

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# What does not depend on the architecture is made by the program itself.
CGO_ENABLED=0 go build -trimpath -o "$work/host" ../cmd/nightjar
mkdir -p "$work/common/man" "$work/common/completions" "$work/common/doc"
"$work/host" man "$work/common/man"
gzip -9n "$work"/common/man/*.1
"$work/host" completion bash >"$work/common/completions/nightjar.bash"
"$work/host" completion zsh >"$work/common/completions/_nightjar"
"$work/host" completion fish >"$work/common/completions/nightjar.fish"

(cd / && GOBIN="$work" GOFLAGS=-mod=mod go install "$nfpm")

# The changelog is the history.
{
	printf 'nightjar (%s) stable; urgency=medium\n\n' "$version"
	printf '  * Built from %s.\n\n' "$(git rev-parse --short HEAD 2>/dev/null || echo 'a source archive')"
	printf ' -- nightjar authors <nightjar@nightjar.example>  %s\n' "$(LC_ALL=C date -u -R -d "@$SOURCE_DATE_EPOCH")"
} | gzip -9n >"$work/common/doc/changelog.gz"

# The licences of every module that is linked in. Texts that Debian ships are not shipped again.
modules() { go list -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ../cmd/nightjar | sort -u; }
licences() { find "$1" -maxdepth 1 \( -iname 'licen[sc]e*' -o -iname 'copying*' -o -iname 'notice*' \) | sort; }
{
	printf 'nightjar: copyright 2026, the nightjar authors.\n\nThe program contains the following modules under their own licences.\n'
	modules | while read -r path mod dir; do
		printf '\n%s %s\n' "$path" "$mod"
		licences "$dir" | while read -r file; do
			if grep -q 'Apache License' "$file" && grep -q 'Version 2.0' "$file"; then
				echo 'Apache License 2.0, see /usr/share/common-licenses/Apache-2.0'
			else
				cat "$file"
			fi
		done
	done
} >"$work/common/doc/copyright"

for target in arm:6:arm6 arm64::arm64 amd64::amd64; do
	IFS=: read -r goarch goarm package <<<"$target"
	stage=$work/$package
	cp -r "$work/common" "$stage"
	CGO_ENABLED=0 GOOS=linux GOARCH=$goarch GOARM=$goarm go build -trimpath \
		-ldflags "-s -w -X main.release=$version" -o "$stage/nightjar" ../cmd/nightjar
	# nfpm itself expands no variables in paths.
	sed -e "s|\${STAGE}|$stage|; s|\${VERSION}|$version|; s|\${PACKAGE_ARCH}|$package|" package/nfpm.yaml >"$stage/nfpm.yaml"
	"$work/nfpm" package --config "$stage/nfpm.yaml" --packager deb --target "$dist"
done
ls -l "$dist"
