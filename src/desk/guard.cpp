#include "desk/guard.h"

#include <algorithm>
#include <utility>

#include "base/random.h"

namespace sendworthy::desk {
namespace {

constexpr std::string_view kScheme = "http://";

std::string lower(std::string_view text) {
  std::string out(text);
  for (auto& c : out) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return out;
}

}  // namespace

Guard::Guard(std::string token, int port)
    : token_(std::move(token)), hosts_{"127.0.0.1:" + std::to_string(port), "localhost:" + std::to_string(port)} {}

std::string Guard::address() const { return std::string(kScheme) + hosts_.front() + "/" + token_ + "/"; }

std::optional<Answer> Guard::refuse(std::string_view method, std::string_view target_text, const Origins& origins,
                                    Target& target) const {
  // The token is letters and digits, so nobody needs to encode it.
  const auto first = target_text.substr(0, std::min(target_text.size(), token_.size() + 2));
  if (!base::same_secret(first, "/" + token_ + "/")) return Answer{404, {}, {}, {}, {}};
  const auto known_host = [&](std::string_view host) { return std::find(hosts_.begin(), hosts_.end(), lower(host)) != hosts_.end(); };
  if (origins.host.size() != 1 || !known_host(origins.host.front()))
    return refusal(403, "host", "the address names another host; open the address that the program printed");
  for (const auto& origin : origins.origin) {
    if (!origin.starts_with(kScheme) || !known_host(std::string_view(origin).substr(kScheme.size())))
      return refusal(403, "origin", "the request comes from another page; open the address that the program printed");
  }
  for (const auto& site : origins.fetch_site) {
    if (site != "same-origin" && site != "none")
      return refusal(403, "origin", "the request comes from another site; open the address that the program printed");
  }
  auto parsed = parse_target(target_text);
  if (!parsed) return refusal(400, "address", "the address is not written as an address is; load the page again");
  parsed->segments.erase(parsed->segments.begin());
  target = std::move(*parsed);
  if (method != "GET" && method != "POST" && method != "DELETE") {
    auto answer = refusal(405, "method", "only GET, POST and DELETE are answered here");
    answer.headers["Allow"] = "GET, POST, DELETE";
    return answer;
  }
  return std::nullopt;
}

}  // namespace sendworthy::desk
