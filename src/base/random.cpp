#include "base/random.h"

#include <sys/random.h>

#include <array>
#include <cerrno>
#include <system_error>

namespace sendworthy::base {

Result<std::string> random_word(std::size_t length) {
  constexpr std::string_view kSigns = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
  // Bytes from here on are drawn again, or the first signs would come up more often.
  constexpr unsigned kEven = 256 / kSigns.size() * kSigns.size();
  std::string word;
  std::array<unsigned char, 64> bytes;
  while (word.size() < length) {
    const auto got = ::getrandom(bytes.data(), bytes.size(), 0);
    if (got < 0) {
      if (errno == EINTR) continue;
      return fail(ErrorCode::unreadable, "the system gives no random numbers: " + std::generic_category().message(errno));
    }
    for (std::size_t i = 0; i < static_cast<std::size_t>(got) && word.size() < length; ++i) {
      if (bytes[i] < kEven) word += kSigns[bytes[i] % kSigns.size()];
    }
  }
  return word;
}

bool same_secret(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  volatile unsigned char differs = 0;
  for (std::size_t i = 0; i < a.size(); ++i) differs = static_cast<unsigned char>(differs | (a[i] ^ b[i]));
  return differs == 0;
}

}  // namespace sendworthy::base
