# packages.mk - installs missing packages before anything is built; included by the Makefile.
#   make packages          what building, running and testing need
#   make packages-build    what building and the demo need
#   make packages-test     that and what the tests need
#   make packages-arm64    that and what `make arm64` needs
#   make packages-bench    the same for `make bench`

.PHONY: packages-build packages-test packages-arm64 packages-bench
packages: packages-test
packages-build:
	@sh deploy/install-packages.sh build
packages-test:
	@sh deploy/install-packages.sh build test
packages-arm64:
	@sh deploy/install-packages.sh build test arm64
packages-bench:
	@sh deploy/install-packages.sh build test bench
