#include "desk/server.h"

#include <httplib.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <system_error>
#include <thread>
#include <utility>

#include "base/bounds.h"
#include "base/connection.h"
#include "base/folder_events.h"
#include "base/random.h"
#include "base/waiting_room.h"
#include "desk/events.h"
#include "desk/guard.h"
#include "desk/head.h"

namespace sendworthy::desk {
namespace {

constexpr std::size_t kTokenLength = 32;
// Who takes long, by kind. Threads remain for what is over at once.
constexpr std::size_t kMostStreams = 16, kMostSent = 32, kMostUploads = 16, kMostBodies = 16;
constexpr std::size_t kThreads = kMostStreams + kMostSent + kMostUploads + kMostBodies + kMostAsking + 16;
constexpr std::size_t kMostServed = 2 * kThreads;  // by a thread or waiting for one; more wait in the room
constexpr std::size_t kPieceBytes = 1u << 18;      // of an answer, on its way out
constexpr double kQuietS = 30;                     // without a byte in or out, once the head is there
constexpr double kCrowdedQuietS = 2;               // the same where others wait
constexpr double kLookS = 0.25;
constexpr double kCloseS = 1;
constexpr auto kBetweenEvents = std::chrono::milliseconds(100);

/// How many do something at once.
class Places {
 public:
  Places(std::size_t most, std::atomic<int>& crowded) : most_(most), crowded_(crowded) {}
  /// A place until the last copy goes; null where none is left.
  [[nodiscard]] std::shared_ptr<void> take() {
    {
      const std::lock_guard lock(mutex_);
      if (taken_ >= most_) return nullptr;
      if (++taken_ == most_) ++crowded_;
    }
    return {this, [this](void*) { leave(); }};  // leaves also where there is no memory for it
  }

 private:
  void leave() {
    const std::lock_guard lock(mutex_);
    if (taken_-- == most_) --crowded_;
  }
  const std::size_t most_;
  std::atomic<int>& crowded_;
  std::mutex mutex_;
  std::size_t taken_ = 0;
};

/// One connection as the library wants it, with bounds that the library has not on how long nothing comes or goes: short ones
/// where others wait.
class BoundedStream : public httplib::Stream {
 public:
  BoundedStream(int socket, std::string came, const std::atomic<bool>& stop, const std::atomic<int>& crowded)
      : connection_(socket, std::move(came), stop), crowded_(crowded) {}

  using httplib::Stream::write;
  bool is_readable() const override { return connection_.is_open(); }
  bool is_writable() const override { return connection_.is_open(); }
  ssize_t read(char* to, size_t size) override {
    for (double quiet_s = 0; quiet_s < patience_s(); quiet_s += kLookS) {
      const auto got = connection_.read(to, size, kLookS);
      if (got != base::Connection::kNothingYet) return static_cast<ssize_t>(got);
    }
    return -1;
  }
  ssize_t write(const char* from, size_t size) override {
    double quiet_s = 0;
    for (size_t done = 0; done < size;) {
      const auto wrote = connection_.write(from + done, size - done, kLookS);
      quiet_s = wrote == base::Connection::kNothingYet ? quiet_s + kLookS : 0;
      if (wrote == -1 || quiet_s >= patience_s()) return -1;
      if (wrote > 0) done += static_cast<size_t>(wrote);
    }
    return static_cast<ssize_t>(size);
  }
  void get_remote_ip_and_port(std::string&, int&) const override {}
  void get_local_ip_and_port(std::string&, int&) const override {}
  socket_t socket() const override { return connection_.socket(); }
  void close() { connection_.close(kCloseS); }

 private:
  [[nodiscard]] double patience_s() const { return crowded_.load(std::memory_order_relaxed) > 0 ? kCrowdedQuietS : kQuietS; }

  base::Connection connection_;
  const std::atomic<int>& crowded_;
};

/// Whoever listens goes on at once: a connection needs no thread before its head is there.
class AtOnce : public httplib::TaskQueue {
 public:
  explicit AtOnce(std::function<void()> end) : end_(std::move(end)) {}
  void enqueue(std::function<void()> task) override { task(); }
  void shutdown() override { end_(); }

 private:
  const std::function<void()> end_;
};

/// One request a connection: what was refused unread cannot be taken for the next request.
class OneRequestServer : public httplib::Server {
 public:
  OneRequestServer(const std::atomic<bool>& stop, std::atomic<int>& crowded) : stop_(stop), crowded_(crowded) {
    new_task_queue = [this] { return new AtOnce([this] { end(); }); };
  }
  ~OneRequestServer() override { end(); }

 private:
  bool process_and_close_socket(socket_t socket) override {
    room_.take(socket);
    return true;
  }

  /// Throws where there is no memory for it; the socket is the caller's then.
  void take_over(int socket, const std::string& came) {
    if (++served_ == kThreads) ++crowded_;
    const std::shared_ptr<void> place(this, [this](void*) {
      if (served_-- == kThreads) --crowded_;
    });
    pool_.enqueue([this, socket, place, head = with_plain_head(came)]() mutable { serve(socket, std::move(head)); });
  }

  void serve(int socket, std::string came) {
    BoundedStream stream(socket, std::move(came), stop_, crowded_);
    try {
      bool ignored = false;
      (void)process_request(stream, true, ignored, [](httplib::Request& request) {
        // Compression on the way to the same machine is of no use.
        request.headers.erase("Accept-Encoding");
      });
    } catch (...) {  // outside of what the exception handler sees: whoever asked sees the connection end
    }
    stream.close();
  }

  void end() {
    room_.end();
    std::call_once(ended_, [this] { pool_.shutdown(); });
  }

  const std::atomic<bool>& stop_;
  std::atomic<int>& crowded_;
  std::atomic<std::size_t> served_{0};
  std::once_flag ended_;
  httplib::ThreadPool pool_{kThreads};
  base::WaitingRoom room_{{}, [this](int socket, const std::string& came) { take_over(socket, came); }, [this] { return served_ < kMostServed; }};
};

std::vector<std::string> values_of(const httplib::Request& request, const char* name) {
  std::vector<std::string> values;
  const auto [begin, end] = request.headers.equal_range(name);
  for (auto one = begin; one != end; ++one) values.push_back(one->second);
  return values;
}

/// The announced length; nothing where it is not given or is no number.
std::optional<std::int64_t> length_of(const httplib::Request& request) {
  const auto given = values_of(request, "Content-Length");
  if (given.size() != 1 || given.front().empty() || given.front().size() > 18) return std::nullopt;
  if (given.front().find_first_not_of("0123456789") != std::string::npos) return std::nullopt;
  return std::stoll(given.front());
}

class Desk {
 public:
  Desk(const Folder& folder, Uploads& uploads, Checks& checks, SoundApi& sound, RuleChoice rules, const std::atomic<bool>& ending)
      : folder_(folder), uploads_(uploads), checks_(checks), api_(folder, uploads, checks, sound, std::move(rules)), server_(ending, crowded_) {
    server_.set_address_family(AF_INET);
    server_.set_tcp_nodelay(true);
    server_.set_socket_options([](socket_t socket) { base::allow_quick_restart(static_cast<int>(socket)); });
    server_.set_default_headers({{"Content-Security-Policy", std::string(page_policy())},
                                 {"X-Content-Type-Options", "nosniff"},
                                 {"Referrer-Policy", "no-referrer"},
                                 {"Cross-Origin-Resource-Policy", "same-origin"},
                                 {"Cross-Origin-Opener-Policy", "same-origin"},
                                 {"Cache-Control", "no-store"}});
    server_.set_exception_handler([this](const httplib::Request&, httplib::Response& response, std::exception_ptr) {
      fill(response, refusal(500, "failed", "the server could not do this, perhaps for want of memory; try it with less"));
    });
    server_.set_pre_routing_handler([this](const httplib::Request& request, httplib::Response& response) { return route(request, response); });
    server_.Post(".*", [this](const httplib::Request& request, httplib::Response& response, const httplib::ContentReader& body) {
      fill(response, with_body(request, body));
    });
  }

  /// The port; error: unreadable.
  [[nodiscard]] Result<int> bind(int wanted) {
    const int port = wanted == 0 ? server_.bind_to_any_port("127.0.0.1") : server_.bind_to_port("127.0.0.1", wanted) ? wanted : -1;
    if (port > 0) return port;
    return fail(ErrorCode::unreadable, wanted == 0 ? "no port on 127.0.0.1 could be had; see whether this machine allows any"
                                                   : "port " + std::to_string(wanted) + " could not be had: another program may have it; leave --port away, or give another");
  }
  void open_to(Guard guard) { guard_.emplace(std::move(guard)); }
  /// Until stop().
  void listen() { (void)server_.listen_after_bind(); }
  [[nodiscard]] bool is_running() const { return server_.is_running(); }
  void stop() { server_.stop(); }

 private:
  void fill(httplib::Response& response, const Answer& answer) {
    std::shared_ptr<void> place;
    if (answer.stream || answer.file) {
      place = sent_.take();
      if (!place) return fill(response, refusal(503, "too_many", "too much is being sent at once; close other tabs of the page, or wait a moment"));
    }
    response.status = answer.status;
    for (const auto& [name, value] : answer.headers) {
      response.headers.erase(name);
      response.set_header(name, value);
    }
    if (answer.stream) {
      response.set_content_provider(static_cast<std::size_t>(answer.streamed_bytes), answer.type,
                                    [place, stream = answer.stream, piece = std::string(kPieceBytes, '\0')](std::size_t offset, std::size_t left, httplib::DataSink& sink) mutable {
                                      const auto wanted = std::min(left, piece.size());
                                      const auto got = stream(static_cast<std::int64_t>(offset), piece.data(), static_cast<std::int64_t>(wanted));
                                      return got > 0 && sink.write(piece.data(), static_cast<std::size_t>(got));
                                    });
    } else if (answer.file) {
      const auto file = answer.file;
      response.set_content_provider(static_cast<std::size_t>(file->size()), answer.type,
                                    [place, file](std::size_t offset, std::size_t left, httplib::DataSink& sink) {
                                      std::string piece(std::min(left, kPieceBytes), '\0');
                                      const auto got = file->read_at(static_cast<std::int64_t>(offset), piece.data(), static_cast<std::int64_t>(piece.size()));
                                      return got > 0 && sink.write(piece.data(), static_cast<std::size_t>(got));
                                    });
    } else if (!answer.type.empty()) {
      response.set_content(answer.body, answer.type);
    }
  }

  std::optional<Answer> refuse(const httplib::Request& request, Target& target) const {
    auto refused = guard_->refuse(request.method, request.target,
                                  {values_of(request, "Host"), values_of(request, "Origin"), values_of(request, "Sec-Fetch-Site")}, target);
    if (!refused && request.has_header(kFoldedHeader)) refused = refusal(400, "head", "a line of the request's head goes on in the next one, which nobody may send; load the page again");
    return refused;
  }

  /// Answers what can be answered without reading a body.
  httplib::Server::HandlerResponse route(const httplib::Request& request, httplib::Response& response) {
    using enum httplib::Server::HandlerResponse;
    Target target;
    if (const auto refused = refuse(request, target)) {
      fill(response, *refused);
    } else if (request.method == "GET" && target.segments == std::vector<std::string>{"api", "events"}) {
      stream(target, response);
    } else if (request.method == "GET") {
      const auto ranges = values_of(request, kRangeHeader);
      fill(response, api_.get(target, ranges.empty() ? "" : ranges.size() == 1 ? ranges.front() : "several"));
    } else if (request.method == "DELETE") {
      fill(response, api_.remove(target));
    } else if (target.segments != kUpload && !Api::takes_body(target)) {
      fill(response, api_.post(target));
    } else if (const auto unfit = unfit_body(request, target)) {
      fill(response, *unfit);
    } else {
      return Unhandled;
    }
    return Handled;
  }

  static std::optional<Answer> unfit_body(const httplib::Request& request, const Target& target) {
    const auto length = length_of(request);
    if (!length || request.has_header("Transfer-Encoding") || request.has_header("Content-Encoding") || request.is_multipart_form_data())
      return refusal(400, "length", "the request wants its body as it is, with its length; load the page again");
    if (const auto most = Api::most_bytes_of_body(target); target.segments != kUpload && *length > static_cast<std::int64_t>(most))
      return refusal(413, "too_large", "the request is larger than " + std::to_string(most >> 20) + " MiB; ask for less at once");
    return std::nullopt;
  }

  Answer with_body(const httplib::Request& request, const httplib::ContentReader& body) {
    Target target;
    if (auto refused = refuse(request, target)) return *refused;
    const bool uploads = target.segments == kUpload;
    const auto place = (uploads ? uploaded_ : bodies_).take();
    if (!place) return refusal(503, "too_many", "too much comes in at once; close other tabs of the page, or wait a moment");
    if (uploads) return upload(std::string(target.of("name")), *length_of(request), body);
    std::string text;
    const auto most = Api::most_bytes_of_body(target);
    const bool whole = body([&](const char* data, std::size_t size) {
      if (text.size() + size > most) return false;
      text.append(data, size);
      return true;
    });
    if (!whole) return refusal(400, "length", "the request came in part only; try again");
    return api_.post(target, text);
  }

  Answer upload(const std::string& name, std::int64_t length, const httplib::ContentReader& body) {
    auto incoming = uploads_.begin(name, length);
    if (!incoming) return refusal(incoming.error());
    tl::expected<void, UploadRefusal> written;
    (void)body([&](const char* data, std::size_t size) {
      written = (*incoming)->write({data, size});
      return written.has_value();
    });
    if (!written) return refusal(written.error());
    const auto id = (*incoming)->finish();
    if (!id) return refusal(id.error());
    Json json;
    json["upload"] = *id;
    json["name"] = name;
    json["bytes"] = length;
    return {200, "application/json", desk::written(json), {}, {}};
  }

  void stream(const Target& target, httplib::Response& response) {
    const auto place = streams_.take();
    if (!place) return fill(response, refusal(503, "too_many", "the page is open too many times; close some of its tabs"));
    const bool watches = target.query.contains("path") || target.query.contains("id");
    const auto events = std::make_shared<Events>(checks_, folder_, watches ? std::optional(path_in(target)) : std::nullopt);
    response.status = 200;
    response.set_chunked_content_provider(
        "text/event-stream",
        [place, events](std::size_t, httplib::DataSink& sink) {
          const auto text = events->next(0.25);
          if (!sink.is_writable() || (!text.empty() && !sink.write(text.data(), text.size()))) return false;
          if (!text.empty()) std::this_thread::sleep_for(kBetweenEvents);
          return true;
        });
  }

  inline static const std::vector<std::string> kUpload{"api", "upload"};

  const Folder& folder_;
  Uploads& uploads_;
  Checks& checks_;
  Api api_;
  std::optional<Guard> guard_;
  std::atomic<int> hurried_by_none_{0};  ///< open streams are idle tabs
  std::atomic<int> crowded_{0};  ///< of how many kinds there are as many as there may be
  Places streams_{kMostStreams, hurried_by_none_}, sent_{kMostSent, crowded_}, uploaded_{kMostUploads, crowded_}, bodies_{kMostBodies, crowded_};
  OneRequestServer server_;
};

}  // namespace

Result<void> serve(const DeskOptions& options, const DeskHooks& hooks) {
  const auto folder = Folder::open(options.folder);
  if (!folder) return tl::unexpected(folder.error());
  auto scratch = base::ScratchFolder::make("desk");
  if (!scratch) return tl::unexpected(scratch.error());
  // Links may be turned round between a look at where they lead and the reading.
  std::error_code no_links;
  const auto own = std::filesystem::canonical(scratch->path(), no_links);
  const base::Bounds bounds({folder->real_path(), no_links ? scratch->path() : own.string()});
  auto token = base::random_word(kTokenLength);
  if (!token) return tl::unexpected(token.error());
  Uploads uploads(*scratch, {});
  Checks checks(*scratch, uploads, options.checks);
  Sounds sounds(*scratch, {});
  const auto started = std::chrono::steady_clock::now();
  PlayedTime played(options.checks.monitoring, [started] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count(); });
  SoundApi sound_api(*folder, checks, sounds, played);
  std::atomic<bool> ending{false};
  Desk desk(*folder, uploads, checks, sound_api, options.rules, ending);
  const auto port = desk.bind(options.port);
  if (!port) return tl::unexpected(port.error());
  Guard guard(std::move(*token), *port);
  const auto address = guard.address();
  desk.open_to(std::move(guard));

  std::atomic<bool> ended{false};
  std::thread listener([&] {
    desk.listen();
    ended = true;
  });
  while (!desk.is_running() && !ended) base::pause_for(0.005);
  const bool wanted = ended || hooks.started(address);
  while (wanted && !hooks.stop->load() && !ended) base::pause_for(0.1);
  const bool stopped = hooks.stop->load();
  ending = true;
  desk.stop();
  // First of all: whatever else takes its time, nothing of the user's stays behind.
  scratch->clear();
  sounds.end();
  checks.end();
  listener.join();
  if (!wanted) return {};
  if (!stopped) return fail(ErrorCode::unreadable, "the system took the port away; start the page again");
  return fail(ErrorCode::interrupted, "interrupted");
}

}  // namespace sendworthy::desk
