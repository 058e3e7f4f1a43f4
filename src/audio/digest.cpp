#include "audio/digest.h"

#include <fmt/format.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>

#include <algorithm>
#include <optional>
#include <vector>

#include "audio/bytes.h"
#include "audio/file.h"
#include "base/hash.h"

namespace sendworthy::audio {

struct Digest::State {
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context{EVP_MD_CTX_new(), &EVP_MD_CTX_free};
  bool ok = false;
};

Digest::Digest(Kind kind) : state_(std::make_unique<State>()) {
  if (!state_->context) return;
  state_->ok = EVP_DigestInit_ex(state_->context.get(), kind == Kind::md5 ? EVP_md5() : EVP_sha256(), nullptr) == 1;
}
Digest::~Digest() = default;
Digest::Digest(Digest&&) noexcept = default;
Digest& Digest::operator=(Digest&&) noexcept = default;

bool Digest::ok() const { return state_->ok; }

void Digest::add(const void* bytes, std::size_t count) {
  if (state_->ok) state_->ok = EVP_DigestUpdate(state_->context.get(), bytes, count) == 1;
}

std::string Digest::hex() {
  unsigned char value[EVP_MAX_MD_SIZE];
  unsigned length = 0;
  if (!state_->ok || EVP_DigestFinal_ex(state_->context.get(), value, &length) != 1) return {};
  state_->ok = false;
  std::string out;
  for (unsigned i = 0; i < length; ++i) out += fmt::format("{:02x}", value[i]);
  return out;
}

std::string openssl_version() { return OpenSSL_version(OPENSSL_VERSION_STRING); }

std::optional<BytesName> name_of_bytes(const std::string& path, const std::atomic<bool>* stop) {
  constexpr std::int64_t kLargest = std::int64_t{16} << 30, kPiece = 256 << 10;
  auto file = base::InputFile::open(path);
  if (!file || file->size() > kLargest) return std::nullopt;
  base::Hash128 hash;
  std::vector<std::uint8_t> block(static_cast<std::size_t>(std::clamp<std::int64_t>(file->size(), 1, kPiece)));
  for (std::int64_t at = 0; at < file->size();) {
    if (stop != nullptr && stop->load(std::memory_order_relaxed)) return std::nullopt;
    const auto got = file->read_at(at, block.data(), std::min(std::ssize(block), file->size() - at));
    if (got == 0) return std::nullopt;
    hash.add(block.data(), static_cast<std::size_t>(got));
    at += got;
  }
  return BytesName{hash.hex(), file->state()};
}

Result<FileDigests> digests_of_file(const std::string& path, WithMd5 with_md5, const std::function<bool(std::int64_t)>& go_on) {
  auto file = base::InputFile::open(path);
  if (!file) return tl::unexpected(file.error());
  Digest sha256(Digest::Kind::sha256);
  std::optional<Digest> md5;
  if (with_md5 == WithMd5::yes) md5.emplace(Digest::Kind::md5);
  FileDigests digests;
  std::vector<std::uint8_t> block(256 << 10);
  while (true) {
    const auto got = file->read_at(digests.size, block.data(), std::ssize(block));
    if (!file->error().empty())
      return fail(ErrorCode::unreadable, fmt::format("cannot read \"{}\": reading failed: {}", path, file->error()));
    if (got == 0) break;
    sha256.add(block.data(), static_cast<std::size_t>(got));
    if (md5) md5->add(block.data(), static_cast<std::size_t>(got));
    digests.size += got;
    if (go_on && !go_on(digests.size)) return fail(ErrorCode::interrupted, fmt::format("\"{}\": interrupted", path));
  }
  digests.sha256 = sha256.hex();
  if (md5) digests.md5 = md5->hex();
  if (digests.sha256.empty() || (md5 && digests.md5.empty())) {
    return fail(ErrorCode::unreadable, fmt::format("cannot compute {} of \"{}\": this machine's OpenSSL refuses it",
                                                   digests.sha256.empty() ? "SHA-256" : "MD5", path));
  }
  return digests;
}

Result<std::string> sha256_of_file(const std::string& path) {
  auto digests = digests_of_file(path, WithMd5::no);
  if (!digests) return tl::unexpected(digests.error());
  return std::move(digests->sha256);
}

}  // namespace sendworthy::audio
