use super::*;
use socket2::{Domain, Type};
use std::net::Ipv4Addr;

fn socket() -> Socket {
    Socket::new(Domain::IPV4, Type::STREAM, None).unwrap()
}

fn client(number: u32) -> Option<IpAddr> {
    Some(Ipv4Addr::from(number).into())
}

fn n_open(all: &Connections) -> usize {
    all.open().lines.len()
}

#[test]
fn a_client_has_so_many_connections_and_others_do_not_notice() {
    let all = Connections::new().unwrap();
    let now = Instant::now();
    let admitted: Vec<u64> = (0..300)
        .filter_map(|_| all.admit(socket(), client(1), now))
        .collect();
    assert_eq!(admitted.len(), MOST_OF_A_CLIENT);
    assert!(all.admit(socket(), client(2), now).is_some());
    all.closed(admitted[0]);
    assert!(all.admit(socket(), client(1), now).is_some());
    assert!(all.admit(socket(), client(1), now).is_none());
    assert_eq!(all.tally().n_of_a_client, 201);
}

#[test]
fn of_too_many_the_one_that_waits_longest_gives_way() {
    let all = Connections::new().unwrap();
    let now = Instant::now();
    let numbers: Vec<u64> = (0..MOST)
        .map(|place| {
            let later = now + Duration::from_millis(u64::try_from(place).unwrap());
            all.admit(socket(), None, later).unwrap()
        })
        .collect();
    all.asked(numbers[0]);
    let newest = all.admit(socket(), None, now + HEAD_WITHIN).unwrap();
    let open = all.open();
    assert_eq!(open.lines.len(), MOST);
    assert!(open.lines.contains_key(&numbers[0]), "it is worked on");
    assert!(!open.lines.contains_key(&numbers[1]));
    assert!(open.lines.contains_key(&newest));
    assert_eq!(open.tally.n_gave_way, 1);
}

#[test]
fn when_every_connection_is_worked_on_there_is_no_room() {
    let all = Connections::new().unwrap();
    let now = Instant::now();
    for _ in 0..MOST {
        let number = all.admit(socket(), None, now).unwrap();
        all.asked(number);
    }
    assert_eq!(all.admit(socket(), None, now), None);
    assert_eq!(n_open(&all), MOST);
    assert_eq!(all.tally().n_no_room, 1);
}

#[test]
fn a_connection_may_wait_for_a_time_that_grows_with_what_it_fetches() {
    let all = Connections::new().unwrap();
    let now = Instant::now();
    let number = all.admit(socket(), client(1), now).unwrap();
    all.asked(number);
    let long = Duration::from_hours(1);
    all.cut_overdue(now + long);
    assert_eq!(n_open(&all), 1, "it is worked on");
    all.answered(number, 20 * BYTES_A_SECOND, now + long);
    let until = now + long + Duration::from_secs(20) + KEPT + HEAD_WITHIN;
    all.cut_overdue(until);
    assert_eq!(n_open(&all), 1);
    all.cut_overdue(until + Duration::from_millis(1));
    assert_eq!(n_open(&all), 0);
    assert!(all.open().of_clients.is_empty());
    let tally = all.tally();
    assert_eq!((tally.n_open, tally.n_overdue), (0, 1));
}
